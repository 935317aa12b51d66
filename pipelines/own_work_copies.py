"""Copies of the company's own work: one text file that any program can read, and back.

JSON lines. The first line says what it is, how many entries follow and the digest of their lines, so that a copy cut
short or edited is refused whole.
"""

from __future__ import annotations

import hashlib
import json
import os
import tempfile
from dataclasses import asdict, fields
from pathlib import Path

from pipelines.durable_files import replace
from pipelines.own_work import FORMAT_VERSION, Entry, OwnWork, OwnWorkError

TITLE = "goodpull own work"


def export_copy(own: OwnWork, target: Path) -> int:
    """Write every entry into one file, in place only when it is whole; how many. Raises OwnWorkError."""
    lines = [json.dumps(asdict(kept.entry), ensure_ascii=False, sort_keys=True) for kept in own.entries()]
    body = "".join(f"{line}\n" for line in lines).encode("utf-8")
    head = {"title": TITLE, "version": FORMAT_VERSION, "n_entries": len(lines), "sha256": _digest(body)}
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
    return len(lines)


def restore_copy(own: OwnWork, source: Path) -> tuple[int, int]:
    """Add the entries of a copy that are not there yet, all or none: how many were added, how many the copy holds.

    Raises OwnWorkError when the file is no whole copy, or an entry differs from the one of its id that is there.
    """
    entries = read_copy(source)
    return own.add(entries), len(entries)


def read_copy(source: Path) -> list[Entry]:
    """The entries of a copy. Raises OwnWorkError when it cannot be read, is no copy, is not whole, or is newer."""
    try:
        content = source.read_bytes()
    except OSError as error:
        raise OwnWorkError(f"{source}: cannot be read ({error.strerror}). Name a file made by: export") from error
    first, _, body = content.partition(b"\n")
    try:
        head = json.loads(first)
        is_ours = head["title"] == TITLE
        version, n_entries, digest = int(head["version"]), int(head["n_entries"]), str(head["sha256"])
    except (ValueError, KeyError, TypeError) as error:
        raise OwnWorkError(f"{source}: is no copy of own work. Nothing was restored.") from error
    if not is_ours:
        raise OwnWorkError(f"{source}: is no copy of own work. Nothing was restored.")
    if version > FORMAT_VERSION:
        raise OwnWorkError(
            f"{source}: was written in format {version}; this program reads up to {FORMAT_VERSION}. Update goodpull."
        )
    if _digest(body) != digest:
        raise OwnWorkError(
            f"{source}: is not whole: its content is not what its first line says. It was cut short or edited. "
            "Nothing was restored; take another copy."
        )
    names = {entry.name for entry in fields(Entry)}
    try:
        read = [json.loads(line) for line in body.decode("utf-8").split("\n") if line]
        entries = [Entry(**{name: row[name] for name in names}) for row in read]
    except (ValueError, KeyError, TypeError) as error:
        raise OwnWorkError(f"{source}: holds a line that is no entry. Nothing was restored.") from error
    if len(entries) != n_entries:
        raise OwnWorkError(f"{source}: holds {len(entries)} entries, its first line says {n_entries}.")
    return entries


def _digest(body: bytes) -> str:
    return hashlib.sha256(body).hexdigest()
