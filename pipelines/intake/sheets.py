"""Workbooks into rows of text."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from datetime import date, datetime, time, timedelta
from pathlib import Path
from typing import Any

from pipelines.intake.file_kinds import IntakeError
from pipelines.intake.workbook_size import refuse_bomb, unreadable


def sheets_of(path: Path) -> Iterator[tuple[str, list[list[str | None]]]]:
    """Name and rows of every sheet that holds anything, each cell as text. Raises IntakeError in words."""
    from python_calamine import CalamineWorkbook, PasswordError

    refuse_bomb(path)
    try:
        workbook = CalamineWorkbook.from_path(str(path))
    except PasswordError as error:
        raise IntakeError("is encrypted. Open it, save it without a password, and load it again.") from error
    except Exception as error:
        raise unreadable(error) from error
    for name in workbook.sheet_names:
        try:
            sheet = workbook.get_sheet_by_name(name)
            rows = [[_text(cell) for cell in row] for row in sheet.to_python(skip_empty_area=False)]
            _fill_merged(rows, sheet.merged_cell_ranges or ())
        except Exception as error:
            # The reader has errors of many kinds (of the archive, of the markup), without one name for all.
            raise unreadable(error) from error
        if any(cell for row in rows for cell in row):
            yield name, rows


def sheet_names(path: Path) -> list[str]:
    """Names of all sheets of a workbook that `sheets_of` could read, blank ones too."""
    from python_calamine import CalamineWorkbook

    return list(CalamineWorkbook.from_path(str(path)).sheet_names)


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
