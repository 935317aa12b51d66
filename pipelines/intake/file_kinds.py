"""Which files are meant, and what a file is by its first bytes."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from pipelines.errors import GoodpullError

ENDINGS = {".csv", ".txt", ".tsv", ".xlsx", ".xlsm", ".xls", ".ods", ".parquet", ".jsonl", ".ndjson", ".json"}
_USUAL = {
    "workbook": {".xlsx", ".xlsm", ".xls", ".ods"},
    "parquet": {".parquet"},
    "json lines": {".jsonl", ".ndjson", ".json"},
    "text": {".csv", ".txt", ".tsv", ""},
}


_NOT_THERE = "there is no such file or folder. Check the spelling of the path."
_TOML = (
    "is a mapping or settings, no records. Give a mapping beside the files it reads, such as: "
    "goodpull load jobs.xlsx --map jobs.mapping.toml"
)


class IntakeError(GoodpullError):
    """A file cannot be read as records. The rest of a load goes on without it."""


def expand(sources: list[Path]) -> Iterator[tuple[Path, str | None]]:
    """Every file named, and every record file in the folders named, in order; an error where one cannot be read."""
    for source in sources:
        try:
            if source.is_dir():
                found = [path for path in _visible(source) if path.suffix.lower() in ENDINGS]
                if not found:
                    yield source, f"the folder holds no records (looked for {', '.join(sorted(ENDINGS))})."
                yield from ((path, None) for path in found)
            elif source.suffix.lower() == ".toml":
                yield source, _TOML if source.exists() else _NOT_THERE
            elif source.exists():
                yield source, None
            else:
                yield source, _NOT_THERE
        except PermissionError:
            yield source, "may not be read. See who owns it, or copy the files elsewhere and load them from there."
        except OSError as error:
            yield source, f"cannot be read ({error.strerror}). Check the path."


def passed_over(sources: list[Path]) -> tuple[str, ...]:
    """Names of the files in the folders named that are no kind of file records come in."""
    names: list[str] = []
    for source in sources:
        try:
            names += [path.name for path in _visible(source) if path.suffix.lower() not in ENDINGS]
        except OSError:
            # Not a folder, or one that may not be read: `expand` says so.
            continue
    return tuple(names)


def _visible(folder: Path) -> list[Path]:
    """The files of a folder, in order, without hidden ones and those an open workbook leaves beside itself."""
    return sorted(path for path in folder.iterdir() if path.is_file() and not path.name.startswith((".", "~$")))


def kind_of(path: Path) -> str:
    """One of text, workbook, parquet, json lines; by content, the file's ending does not count.

    Raises IntakeError for an empty, encrypted or unreadable file.
    """
    try:
        with path.open("rb") as file:
            head = file.read(4096)
            if head.startswith(b"\xd0\xcf\x11\xe0"):
                head += file.read(1 << 24)
    except PermissionError as error:
        raise IntakeError("may not be read. See who owns it, or copy it elsewhere and load it from there.") from error
    except OSError as error:
        raise IntakeError(f"cannot be read ({error.strerror}).") from error
    if not head.strip(b"\x00\xef\xbb\xbf\xff\xfe \r\n\t"):
        raise IntakeError("is empty. Export it again; nothing was loaded from it.")
    if head.startswith(b"PK\x03\x04"):
        return "workbook"
    if head.startswith(b"\xd0\xcf\x11\xe0"):
        if "EncryptedPackage".encode("utf-16-le") in head:
            raise IntakeError("is encrypted. Open it, save it without a password, and load it again.")
        return "workbook"
    if head.startswith(b"PAR1"):
        return "parquet"
    if path.suffix.lower() in (".xlsx", ".xlsm", ".ods") and b"\x00" in head[:512]:
        raise IntakeError(
            "is named as a workbook and is none, or is damaged. Save it again; nothing was loaded from it."
        )
    if head.lstrip(b"\xef\xbb\xbf\xff\xfe\x00 \r\n\t").startswith(b"{"):
        return "json lines"
    return "text"


def told_kind(path: Path, kind: str) -> str | None:
    """A sentence where a file is not what its ending says."""
    if path.suffix.lower() in _USUAL[kind]:
        return None
    return f"is named {path.suffix} but is {'a ' if kind == 'workbook' else ''}{kind}; read as that."
