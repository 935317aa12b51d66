"""What a delivered file is, by its first bytes, and what its text is made of."""

from __future__ import annotations

import codecs
import hashlib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from pipelines.errors import GoodpullError

CHUNK = 1 << 22
ENDINGS = {".csv", ".txt", ".tsv", ".xlsx", ".xlsm", ".xls", ".ods", ".parquet", ".jsonl", ".ndjson", ".json"}


class IntakeError(GoodpullError):
    """A file cannot be read as records. The rest of a load goes on without it."""


@dataclass(frozen=True)
class TextFacts:
    """Facts of a file found in one pass. encoding: a Python codec name; None when the bytes are not text."""

    digest: str
    size: int
    encoding: str | None
    n_quotes: int
    n_newlines: int


def expand(sources: list[Path]) -> Iterator[tuple[Path, str | None]]:
    """Every file named, and every record file in the folders named, in order; with an error where one cannot be read."""
    for source in sources:
        try:
            if source.is_dir():
                found = sorted(path for path in source.iterdir() if path.suffix.lower() in ENDINGS and path.is_file())
                if not found:
                    yield source, f"the folder holds no records (looked for {', '.join(sorted(ENDINGS))})."
                yield from ((path, None) for path in found if not path.name.startswith((".", "~$")))
            elif source.exists():
                yield source, None
            else:
                yield source, "there is no such file or folder. Check the spelling of the path."
        except PermissionError:
            yield source, "may not be read. See who owns it, or copy the files elsewhere."


def kind_of(path: Path) -> str:
    """csv, xlsx, parquet or jsonl, by content; the file's ending does not count.

    Raises IntakeError for an empty, encrypted or unreadable file.
    """
    try:
        with path.open("rb") as file:
            head = file.read(4096)
    except PermissionError as error:
        raise IntakeError("may not be read. See who owns it, or copy it elsewhere.") from error
    except OSError as error:
        raise IntakeError(f"cannot be read ({error.strerror}).") from error
    if not head.strip(b"\x00\xef\xbb\xbf\xff\xfe \r\n\t"):
        raise IntakeError("is empty. Export it again; nothing was loaded from it.")
    if head.startswith(b"PK\x03\x04"):
        return "xlsx"
    if head.startswith(b"\xd0\xcf\x11\xe0"):
        if "E\0n\0c\0r\0y\0p\0t\0e\0d".encode("latin-1") in path.read_bytes()[: 1 << 24]:
            raise IntakeError("is encrypted. Open it, save it without a password, and load it again.")
        return "xlsx"
    if head.startswith(b"PAR1"):
        return "parquet"
    if head.lstrip(b"\xef\xbb\xbf \r\n\t").startswith(b"{"):
        return "jsonl"
    return "csv"


def text_facts(path: Path) -> TextFacts:
    """Digest, encoding, quotation marks and line ends of a file, read once in pieces."""
    digest = hashlib.blake2b(digest_size=20)
    quotes = newlines = size = 0
    decoder = codecs.getincrementaldecoder("utf-8")()
    is_utf8 = True
    with path.open("rb") as file:
        head = file.peek(4)[:4]
        while chunk := file.read(CHUNK):
            size += len(chunk)
            digest.update(chunk)
            quotes += chunk.count(b'"')
            newlines += chunk.count(b"\n")
            if is_utf8:
                try:
                    decoder.decode(chunk)
                except UnicodeDecodeError:
                    is_utf8 = False
    return TextFacts(digest.hexdigest(), size, _encoding(path, head, is_utf8), quotes, newlines)


def _encoding(path: Path, head: bytes, is_utf8: bool) -> str | None:
    if head.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        return "utf-16"
    with path.open("rb") as file:
        sample = file.read(1 << 16)
    if sample[1::2].count(0) > len(sample) // 8:
        return "utf-16-le"
    if sample[::2].count(0) > len(sample) // 8:
        return "utf-16-be"
    if is_utf8:
        return "utf-8"
    for encoding in ("cp1252", "latin-1"):
        try:
            with path.open(encoding=encoding, newline="") as file:
                while file.read(CHUNK):
                    pass
        except UnicodeDecodeError:
            continue
        return encoding
    return None


def to_utf8(path: Path, encoding: str, target: Path) -> None:
    """Write the file again as UTF-8, in pieces."""
    with path.open(encoding=encoding, newline="") as source, target.open("w", encoding="utf-8", newline="") as out:
        while piece := source.read(CHUNK):
            out.write(piece)
