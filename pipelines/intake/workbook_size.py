"""Workbooks that would take more memory than there is: refused before they are read."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from xml.etree.ElementTree import Element, iterparse
from zipfile import BadZipFile, ZipFile, ZipInfo

from pipelines.intake.file_kinds import IntakeError

# Bytes a workbook may unpack to; it is held in memory while it is read. A sheet of short numbers takes some 5.5 times as much.
LARGEST_UNPACKED = 600_000_000
# Cells from the first to the farthest of a sheet: a full sheet of a million rows has some sixty columns within it.
MOST_CELLS = 64_000_000
# Filled cells of an OpenDocument sheet, where one element may stand for millions.
MOST_FILLED = 12_000_000
# A workbook may name the files of its sheets as it likes.
_SHEET = re.compile(r"(?i)(?<!sharedStrings)\.xml$")
# References of cells and rows in the markup of a sheet (ECMA-376): r="B7", and r="7" of a row.
_COLUMN = re.compile(rb"""\br\s*=\s*["']([A-Z]{1,3})\d""")
_ROW = re.compile(rb"""\br\s*=\s*["'][A-Z]{0,3}(\d{1,7})["']""")
_LONGEST_REFERENCE = 32
# The sheets of an OpenDocument workbook (ISO/IEC 26300).
_OPEN_DOCUMENT = "content.xml"


def unreadable(error: Exception) -> IntakeError:
    """What is said of a workbook that the reader, or its archive, gave up on."""
    return IntakeError(
        f"is no workbook that can be read ({str(error)[:200]}). Save it again as .xlsx, or as CSV; nothing was loaded from it."
    )


def refuse_bomb(path: Path) -> None:
    """Raises IntakeError for a workbook that unpacks, or spreads its cells, to more than can be held in memory."""
    try:
        packed = ZipFile(path)
    except (BadZipFile, OSError):
        return
    with packed:
        n_bytes = sum(entry.file_size for entry in packed.infolist())
        if n_bytes > LARGEST_UNPACKED:
            raise IntakeError(
                f"unpacks to {n_bytes / 1e9:,.1f} GB; a workbook may unpack to {LARGEST_UNPACKED / 1e9:,.1f} GB at most. "
                "Export it as CSV, which may be of any size; nothing was loaded from it."
            )
        if _OPEN_DOCUMENT in packed.namelist():
            _refuse_repeated(packed)
            return
        for entry in packed.infolist():
            if _SHEET.search(entry.filename):
                try:
                    n_rows, n_columns = _extent(packed, entry)
                except Exception as error:
                    # As the module does: an archive can be wrong in many ways, and its sizes can lie.
                    raise unreadable(error) from error
                if n_rows * n_columns > MOST_CELLS:
                    raise IntakeError(
                        f"has a sheet of {n_rows:,} rows and {n_columns:,} columns; a sheet may span "
                        f"{MOST_CELLS:,} cells at most. Delete the cells that stand far off, or export it as CSV; nothing "
                        "was loaded from it."
                    )


def _extent(packed: ZipFile, entry: ZipInfo) -> tuple[int, int]:
    """Rows and columns from the first cell to the farthest: all of them take memory, blank or not."""
    n_rows = n_columns = 0
    tail = b""
    with packed.open(entry) as sheet:
        while piece := sheet.read(1 << 20):
            text = tail + piece
            columns, rows = set(_COLUMN.findall(text)), set(_ROW.findall(text))
            n_columns = max([n_columns, *map(_column_number, columns)])
            n_rows = max([n_rows, *map(int, rows)])
            tail = text[-_LONGEST_REFERENCE:]
    return n_rows, n_columns


def _column_number(letters: bytes) -> int:
    number = 0
    for letter in letters:
        number = number * 26 + letter - 64
    return number


def _refuse_repeated(packed: ZipFile) -> None:
    """Raises IntakeError for an OpenDocument sheet whose cells, each as often as it says, are more than memory holds."""
    n_filled = n_spanned = 0
    try:
        for filled, spanned in _sheet_sizes(packed):
            n_filled, n_spanned = max(n_filled, filled), max(n_spanned, spanned)
    except Exception as error:
        # As for other workbooks: an archive and its markup can be wrong in many ways.
        raise unreadable(error) from error
    if n_filled > MOST_FILLED or n_spanned > MOST_CELLS:
        raise IntakeError(
            f"has a sheet of {n_filled:,} filled cells, which spans {n_spanned:,}; such a sheet may have {MOST_FILLED:,} and "
            f"span {MOST_CELLS:,} at most. Export it as CSV, which may be of any size; nothing was loaded from it."
        )


def _sheet_sizes(packed: ZipFile) -> Iterator[tuple[int, int]]:
    """Of every sheet of an OpenDocument workbook: cells that hold something, and cells from the first to the farthest."""
    n_filled = n_rows = n_columns = last_row = at = in_row = 0
    with packed.open(_OPEN_DOCUMENT) as content:
        for _, element in iterparse(content):
            kind = element.tag.rpartition("}")[2]
            if kind in ("table-cell", "covered-table-cell"):
                n = _repeated(element, "number-columns-repeated")
                at += n
                if len(element) or _attribute(element, "value-type"):
                    in_row += n
                    n_columns = max(n_columns, at)
            elif kind == "table-row":
                n = _repeated(element, "number-rows-repeated")
                last_row += n
                n_filled += in_row * n
                n_rows = last_row if in_row else n_rows
                at = in_row = 0
                element.clear()
            elif kind == "table":
                yield n_filled, n_rows * n_columns
                n_filled = n_rows = n_columns = last_row = 0


def _repeated(element: Element, name: str) -> int:
    return int(_attribute(element, name) or 1)


def _attribute(element: Element, name: str) -> str | None:
    return next((value for key, value in element.attrib.items() if key.rpartition("}")[2] == name), None)
