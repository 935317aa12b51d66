"""The ledger of loads: what it knows a file by, and which version of a mapping read it."""

from __future__ import annotations

import re

from pipelines.mapping.declared import Mapping
from pipelines.settings import Settings

# One row per load, newest first.
NEWEST_LOADS = """
    SELECT loaded_at AS loaded, file_name AS file, table_name AS "table", n_rows AS rows, n_accepted AS accepted,
           n_revised AS revised, n_held_back AS "held back", n_duplicates AS duplicates, file_digest AS digest
    FROM load ORDER BY loaded_at DESC, load_id DESC
"""
_VERSION = re.compile(r" mapping=(\w+)$")


def ledger_digest(content: str, settings: Settings, mapping: Mapping | None) -> str:
    """What the ledger knows a file by: its content, the settings its cells were read with, the version of the mapping."""
    unit = settings.default_pressure_unit or "none"
    read_by = f" mapping={mapping.digest}" if mapping is not None else ""
    return f"{content} time_zone={settings.time_zone} default_pressure_unit={unit}{read_by}"


def mapping_version(digest: str) -> str | None:
    """The version of the mapping that a load was read by; None for files of the contract. digest: as in the ledger."""
    found = _VERSION.search(digest or "")
    return found[1] if found else None
