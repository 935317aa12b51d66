"""Copies of the company's own work: one text file that any program can read, and back.

JSON lines: the entries, then the kept mappings. The first line says what it is, how many follow and the digest of their
lines, so that a copy cut short or edited is refused whole.
"""

from __future__ import annotations

import hashlib
import json
import os
import tempfile
from dataclasses import asdict, dataclass, fields
from pathlib import Path

from pipelines.durable_files import replace
from pipelines.mapping_copies import check_mappings, kept_mappings, restore_mappings
from pipelines.own_work import FORMAT_VERSION, Entry, OwnWork, OwnWorkError

TITLE = "goodpull own work"
# A copy with mappings is of a version of its own: programs from before would take them for spoiled entries.
WITH_MAPPINGS = FORMAT_VERSION + 1


@dataclass(frozen=True)
class Copy:
    """What a copy holds. mappings: name of the file -> its text."""

    entries: list[Entry]
    mappings: dict[str, str]


@dataclass(frozen=True)
class Restored:
    """How many were new, and how many the copy holds."""

    n_new: int
    n_entries: int
    n_new_mappings: int
    n_mappings: int


def export_copy(own: OwnWork, target: Path) -> Copy:
    """Write every entry and kept mapping into one file, in place only when it is whole. Raises OwnWorkError."""
    copied = Copy([kept.entry for kept in own.entries()], kept_mappings(own.home))
    lines = [json.dumps(asdict(entry), ensure_ascii=False, sort_keys=True) for entry in copied.entries]
    lines += [
        json.dumps({"mapping": name, "toml": toml}, ensure_ascii=False, sort_keys=True)
        for name, toml in copied.mappings.items()
    ]
    body = "".join(f"{line}\n" for line in lines).encode("utf-8")
    head = {
        "title": TITLE,
        "version": WITH_MAPPINGS if copied.mappings else FORMAT_VERSION,
        "n_entries": len(copied.entries),
        "n_mappings": len(copied.mappings),
        "sha256": _digest(body),
    }
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        handle, name = tempfile.mkstemp(prefix=f".{target.name}.", dir=target.parent)
        made = Path(name)
        try:
            with os.fdopen(handle, "wb") as file:
                file.write(json.dumps(head).encode("utf-8") + b"\n" + body)
            replace(made, target)
        finally:
            made.unlink(missing_ok=True)
    except OSError as error:
        raise OwnWorkError(f"{target}: cannot be written ({error.strerror}). Choose another path.") from error
    return copied


def restore_copy(own: OwnWork, source: Path) -> Restored:
    """Add the entries and mappings of a copy that are not there yet. Nothing that is there is changed.

    Entries come in all or none. Raises OwnWorkError, before anything is written, when the file is no whole copy, or an
    entry or mapping differs from the one of its id or name that is there.
    """
    copy = read_copy(source)
    check_mappings(own.home, copy.mappings)
    n_new = own.add(copy.entries)
    return Restored(n_new, len(copy.entries), restore_mappings(own.home, copy.mappings), len(copy.mappings))


def read_copy(source: Path) -> Copy:
    """What a copy holds. Raises OwnWorkError when it cannot be read, is no copy, is not whole, or is newer."""
    try:
        content = source.read_bytes()
    except OSError as error:
        raise OwnWorkError(f"{source}: cannot be read ({error.strerror}). Name a file made by: export") from error
    first, _, body = content.partition(b"\n")
    try:
        head = json.loads(first)
        is_ours = head["title"] == TITLE
        version, n_entries, digest = int(head["version"]), int(head["n_entries"]), str(head["sha256"])
        n_mappings = int(head.get("n_mappings", 0))
    except (ValueError, KeyError, TypeError) as error:
        raise OwnWorkError(f"{source}: is no copy of own work. Nothing was restored.") from error
    if not is_ours:
        raise OwnWorkError(f"{source}: is no copy of own work. Nothing was restored.")
    if version > WITH_MAPPINGS:
        raise OwnWorkError(
            f"{source}: was written in format {version}; this program reads up to {WITH_MAPPINGS}. Update goodpull."
        )
    if _digest(body) != digest:
        raise OwnWorkError(
            f"{source}: is not whole: its content is not what its first line says. It was cut short or edited. "
            "Nothing was restored; take another copy."
        )
    names = {entry.name for entry in fields(Entry)}
    try:
        read = [json.loads(line) for line in body.decode("utf-8").split("\n") if line]
        entries = [Entry(**{name: row[name] for name in names}) for row in read if "mapping" not in row]
        mappings = {str(row["mapping"]): str(row["toml"]) for row in read if "mapping" in row}
    except (ValueError, KeyError, TypeError) as error:
        raise OwnWorkError(f"{source}: holds a line that is no entry. Nothing was restored.") from error
    if (len(entries), len(mappings)) != (n_entries, n_mappings):
        raise OwnWorkError(
            f"{source}: holds {len(entries)} entries and {len(mappings)} mappings, its first line says {n_entries} and "
            f"{n_mappings}. Nothing was restored."
        )
    return Copy(entries, mappings)


def _digest(body: bytes) -> str:
    return hashlib.sha256(body).hexdigest()
