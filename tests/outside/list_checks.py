"""Run every outside check and write the list the Method page shows: python tests/outside/list_checks.py

With --check nothing is written; the command fails when the committed list says otherwise than the checks.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parent))

import published_callbacks  # noqa: F401
import published_comparisons  # noqa: F401
import published_rates  # noqa: F401
import published_seasons  # noqa: F401
import published_units  # noqa: F401
from outside_registry import REGISTRY, as_row

from models.evidence.outside import FILE_NAME

TARGET = Path(__file__).parents[2] / "models" / "evidence" / FILE_NAME


def rows() -> list[dict[str, Any]]:
    return sorted((as_row(one) for one in REGISTRY), key=lambda row: (row["topic"], row["name"], row["source"]))


def as_text(listed: list[dict[str, Any]]) -> str:
    return json.dumps(listed, indent=1, ensure_ascii=False, allow_nan=False) + "\n"


def main(arguments: list[str]) -> int:
    text = as_text(rows())
    if "--check" in arguments:
        return 0 if TARGET.read_text("utf-8") == text else 1
    TARGET.write_text(text, "utf-8")
    print(f"{len(REGISTRY)} checks written to {TARGET}")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
