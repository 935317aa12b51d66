"""Workbooks into rows of text."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from datetime import date, datetime, time, timedelta
from pathlib import Path
from typing import Any
from zipfile import BadZipFile, ZipFile, ZipInfo

from pipelines.intake.file_kinds import IntakeError

# Bytes a workbook may unpack to; it is held in memory while it is read.
LARGEST_UNPACKED = 1_000_000_000
# Cells from the first to the farthest of a sheet: a full sheet of a million rows has some sixty columns within it.
MOST_CELLS = 64_000_000
# A workbook may name the files of its sheets as it likes.
_SHEET = re.compile(r"(?i)(?<!sharedStrings)\.xml$")
# References of cells and rows in the markup of a sheet (ECMA-376): r="B7", and r="7" of a row.
_COLUMN = re.compile(rb"""\br\s*=\s*["']([A-Z]{1,3})\d""")
_ROW = re.compile(rb"""\br\s*=\s*["'][A-Z]{0,3}(\d{1,7})["']""")
_LONGEST_REFERENCE = 32


def sheets_of(path: Path) -> Iterator[tuple[str, list[list[str | None]]]]:
    """Name and rows of every sheet that holds anything, each cell as text. Raises IntakeError in words."""
    from python_calamine import CalamineWorkbook, PasswordError

    _refuse_bomb(path)
    try:
        workbook = CalamineWorkbook.from_path(str(path))
    except PasswordError as error:
        raise IntakeError("is encrypted. Open it, save it without a password, and load it again.") from error
    except Exception as error:
        raise _unreadable(error) from error
    for name in workbook.sheet_names:
        try:
            sheet = workbook.get_sheet_by_name(name)
            rows = [[_text(cell) for cell in row] for row in sheet.to_python(skip_empty_area=False)]
            _fill_merged(rows, sheet.merged_cell_ranges or ())
        except Exception as error:
            # The reader has errors of many kinds (of the archive, of the markup), without one name for all.
            raise _unreadable(error) from error
        if any(cell for row in rows for cell in row):
            yield name, rows


def _unreadable(error: Exception) -> IntakeError:
    return IntakeError(
        f"is no workbook that can be read ({str(error)[:200]}). Save it again as .xlsx, or as CSV; nothing was loaded from it."
    )


def _fill_merged(rows: list[list[str | None]], ranges: Iterable[Any]) -> None:
    """Cells merged downwards hold one value for all their rows; the workbook has it in the first alone.

    Cells merged sideways are titles, or one wide cell, and stay as they are.
    """
    for (top, left), (bottom, _) in ranges:
        if not (top < len(rows) and left < len(rows[top])):
            continue
        for row in rows[top + 1 : bottom + 1]:
            if left < len(row) and row[left] is None:
                row[left] = rows[top][left]


def _refuse_bomb(path: Path) -> None:
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
        for entry in packed.infolist():
            if _SHEET.search(entry.filename):
                try:
                    n_rows, n_columns = _extent(packed, entry)
                except Exception as error:
                    # As the module does: an archive can be wrong in many ways, and its sizes can lie.
                    raise _unreadable(error) from error
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


def _text(cell: Any) -> str | None:
    if cell is None or cell == "":
        return None
    if isinstance(cell, bool):
        return "true" if cell else "false"
    if isinstance(cell, float):
        return str(int(cell)) if cell.is_integer() and abs(cell) < 1e15 else repr(cell)
    if isinstance(cell, datetime | date | time):
        return cell.isoformat()
    if isinstance(cell, timedelta):
        return str(cell)
    return str(cell)
