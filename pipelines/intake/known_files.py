"""Which files of watched folders the ledger does not know yet, told without opening a new generation."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from pipelines.intake.file_kinds import expand
from pipelines.intake.session import ledger_digest
from pipelines.intake.text_facts import content_digest
from pipelines.mapping.declared import Mapping
from pipelines.settings import Settings
from pipelines.store import Store


def not_in_ledger(store: Store, sources: Sequence[Path], settings: Settings, mapping: Mapping | None) -> list[Path]:
    """Files not loaded yet as they would be now; one that cannot be read is kept, so that the load says why.

    Of a mapping only the files that one of its sources reads are looked at, and those named one by one.
    """
    settings = mapping.settings(settings) if mapping is not None else settings
    known: set[str] = set()
    if store.current() is not None:
        con = store.open_reader()
        try:
            known = {digest for (digest,) in con.execute('SELECT DISTINCT file_digest FROM "load"').fetchall()}
        finally:
            con.close()
    new = []
    for path, error in expand(list(sources)):
        if error is None and mapping is not None and path not in sources and not mapping.sources_of(path.name):
            continue
        if error is None:
            try:
                digest = ledger_digest(content_digest(path), settings, mapping)
            except OSError:
                digest = ""
            if digest in known:
                continue
        if path not in new and not (error is not None and path.is_dir()):
            new.append(path)
    return new
