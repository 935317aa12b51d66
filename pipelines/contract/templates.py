"""Blank templates of the tables: one CSV a table, or one XLSX with a sheet a table."""

from __future__ import annotations

import csv
from datetime import datetime
from pathlib import Path
from typing import Any

from pipelines.contract.currencies import CURRENCY_CODES
from pipelines.contract.describe import describe_column, kind_in_words
from pipelines.contract.fields import Field, Table
from pipelines.contract.limits import allowed_units
from pipelines.contract.tables import TABLES
from pipelines.errors import GoodpullError

WORKBOOK_NAME = "goodpull-template.xlsx"
LISTS_SHEET = "code lists"
TEMPLATE_KINDS = ("csv", "xlsx")
# Rows that offer drop-down lists; more may be filled in.
ROWS_WITH_LISTS = 10_000
# The same template is the same bytes, whenever it is written.
_MADE_AT = datetime(2026, 1, 1)
_CELL_FORMATS = {"id": "@", "text": "@", "date": "yyyy-mm-dd", "timestamp": "yyyy-mm-dd hh:mm:ss"}


class TemplateError(GoodpullError):
    """A template cannot be written."""


def write_templates(folder: Path, kind: str = "xlsx") -> list[Path]:
    """Write blank templates into `folder`, which is made if need be, and return the files written.

    kind: "csv" or "xlsx". Raises TemplateError for another kind, or when a file of that name is already there.
    """
    if kind not in TEMPLATE_KINDS:
        raise TemplateError(f"templates: kind is {kind!r}; must be one of {', '.join(TEMPLATE_KINDS)}")
    names = [f"{table.name}.csv" for table in TABLES] if kind == "csv" else [WORKBOOK_NAME]
    paths = [folder / name for name in names]
    taken = [path for path in paths if path.exists()]
    if taken:
        raise TemplateError(f"{taken[0]} is already there and was left alone. Name another folder.")
    try:
        folder.mkdir(parents=True, exist_ok=True)
        if kind == "csv":
            for table, path in zip(TABLES, paths, strict=True):
                _write_csv(table, path)
        else:
            _write_workbook(paths[0])
    except OSError as error:
        raise TemplateError(f"{folder}: cannot be written ({error.strerror}). Name another folder.") from error
    return paths


def _write_csv(table: Table, path: Path) -> None:
    with path.open("w", encoding="utf-8", newline="") as file:
        csv.writer(file, lineterminator="\n").writerow(entry.name for entry in table.fields)


def _write_workbook(path: Path) -> None:
    import xlsxwriter

    with xlsxwriter.Workbook(str(path), {"strings_to_formulas": False, "strings_to_urls": False}) as book:
        book.set_properties({"title": "Visit records", "created": _MADE_AT})
        formats = _formats(book)
        sheets = [(table, book.add_worksheet(table.name)) for table in TABLES]
        ranges = _write_lists(book, formats)
        for table, sheet in sheets:
            sheet.freeze_panes(1, 0)
            for column, entry in enumerate(table.fields):
                _write_column(sheet, column, table, entry, formats, ranges)


def _formats(book: Any) -> dict[str, Any]:
    formats = {kind: book.add_format({"num_format": text}) for kind, text in _CELL_FORMATS.items()}
    formats["required"] = book.add_format({"bold": True, "bottom": 2})
    formats["optional"] = book.add_format({"bottom": 1})
    return formats


def _write_column(
    sheet: Any, column: int, table: Table, entry: Field, formats: dict[str, Any], ranges: dict[tuple[str, ...], str]
) -> None:
    sheet.set_column(column, column, max(12, len(entry.name) + 2), formats.get(entry.kind))
    sheet.write_string(0, column, entry.name, formats["required" if entry.is_required else "optional"])
    note = f"{describe_column(table, entry)}\n\n{kind_in_words(entry)}"
    sheet.write_comment(0, column, note, {"x_scale": 2.5, "y_scale": 1.6, "author": ""})
    choices = _choices(table, entry)
    if choices:
        rule = {
            "validate": "list",
            "source": ranges[choices],
            "ignore_blank": True,
            # A list of spellings to choose from, not the only ones: loading knows more of them.
            "error_type": "stop" if entry.kind == "code" else "warning",
            "error_title": entry.name,
            "error_message": "Choose one of the list.",
        }
        sheet.data_validation(1, column, ROWS_WITH_LISTS, column, rule)


def _write_lists(book: Any, formats: dict[str, Any]) -> dict[tuple[str, ...], str]:
    """Every list of choices in a column of a sheet of its own; returns choices -> the range that holds them."""
    sheet = book.add_worksheet(LISTS_SHEET)
    ranges: dict[tuple[str, ...], str] = {}
    column = 0
    for table in TABLES:
        for entry in table.fields:
            choices = _choices(table, entry)
            if not choices or choices in ranges:
                continue
            meanings = {code.code: code.about for code in entry.code_list.codes} if entry.code_list else {}
            sheet.write_string(0, column, entry.name, formats["required"])
            for row, choice in enumerate(choices, start=1):
                sheet.write_string(row, column, choice)
                sheet.write_string(row, column + 1, meanings.get(choice, ""))
            sheet.set_column(column, column + 1, 26)
            letter = _letters(column)
            ranges[choices] = f"='{LISTS_SHEET}'!${letter}$2:${letter}${len(choices) + 1}"
            column += 2
    sheet.freeze_panes(1, 0)
    return ranges


def _choices(table: Table, entry: Field) -> tuple[str, ...]:
    if entry.kind == "code" and entry.code_list is not None:
        return entry.code_list.values()
    if entry.kind == "unit":
        return allowed_units(table, entry)
    if entry.kind == "currency":
        return CURRENCY_CODES
    return ("yes", "no") if entry.kind == "flag" else ()


def _letters(column: int) -> str:
    """Column number from 0 as letters: 0 -> A, 26 -> AA."""
    letters = ""
    column += 1
    while column:
        column, rest = divmod(column - 1, 26)
        letters = chr(65 + rest) + letters
    return letters
