"""The same made-up facts as for the figures."""

from __future__ import annotations

import importlib.util
import sys
from pathlib import Path

_SPEC = importlib.util.spec_from_file_location("figure_facts", Path(__file__).parents[1] / "figures" / "conftest.py")
assert _SPEC is not None and _SPEC.loader is not None
_facts = importlib.util.module_from_spec(_SPEC)
sys.modules[_SPEC.name] = _facts
_SPEC.loader.exec_module(_facts)

settings, store, put, put_swaps, fleet = _facts.settings, _facts.store, _facts.put, _facts.put_swaps, _facts.fleet
