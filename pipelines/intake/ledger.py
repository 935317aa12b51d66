"""The ledger of loads as it is listed, and which version of a mapping read a file."""

from __future__ import annotations

import re

# One row per load, newest first.
NEWEST_LOADS = """
    SELECT loaded_at AS loaded, file_name AS file, table_name AS "table", n_rows AS rows, n_accepted AS accepted,
           n_revised AS revised, n_held_back AS "held back", n_duplicates AS duplicates, file_digest AS digest
    FROM load ORDER BY loaded_at DESC, load_id DESC
"""
_VERSION = re.compile(r" mapping=(\w+)$")


def mapping_version(digest: str) -> str | None:
    """The version of the mapping that a load was read by; None for files of the contract. digest: as in the ledger."""
    found = _VERSION.search(digest or "")
    return found[1] if found else None
