"""Blank templates: headers as declared, lists to choose from, and nothing overwritten."""

from __future__ import annotations

import csv

import openpyxl
import pytest
from openpyxl.utils import get_column_letter
from python_calamine import CalamineWorkbook

from pipelines.contract.tables import TABLES
from pipelines.contract.templates import LISTS_SHEET, TemplateError, write_templates


@pytest.fixture(scope="module")
def workbook(tmp_path_factory):
    (path,) = write_templates(tmp_path_factory.mktemp("templates"), "xlsx")
    return path


def test_csv_templates_hold_the_header_only(tmp_path):
    paths = write_templates(tmp_path / "new" / "folder", "csv")
    assert [path.name for path in paths] == [f"{table.name}.csv" for table in TABLES]
    for table, path in zip(TABLES, paths, strict=True):
        with path.open(encoding="utf-8", newline="") as file:
            assert list(csv.reader(file)) == [[entry.name for entry in table.fields]]


def test_workbook_has_a_sheet_a_table_with_its_header_frozen(workbook):
    book = openpyxl.load_workbook(workbook)
    assert book.sheetnames == [*(table.name for table in TABLES), LISTS_SHEET]
    for table in TABLES:
        sheet = book[table.name]
        assert [cell.value for cell in sheet[1]] == [entry.name for entry in table.fields]
        assert sheet.freeze_panes == "A2"
        for cell, entry in zip(sheet[1], table.fields, strict=True):
            assert entry.about in cell.comment.text
            assert ("required" in cell.comment.text) == entry.is_required
            assert bool(cell.font.bold) == entry.is_required
    assert CalamineWorkbook.from_path(str(workbook)).sheet_names == book.sheetnames


def test_every_code_column_offers_its_codes(workbook):
    book = openpyxl.load_workbook(workbook)
    for table in TABLES:
        offered = {}
        for rule in book[table.name].data_validations.dataValidation:
            sheet, _, cells = rule.formula1.rpartition("!")
            assert sheet.strip("'") == LISTS_SHEET
            values = tuple(row[0].value for row in book[LISTS_SHEET][cells.replace("$", "")])
            for area in rule.sqref.ranges:
                assert area.min_row == 2
                offered[get_column_letter(area.min_col)] = values
        for number, entry in enumerate(table.fields, start=1):
            if entry.code_list is not None:
                assert offered[get_column_letter(number)] == entry.code_list.values(), f"{table.name}.{entry.name}"


def test_identifiers_are_kept_as_text(workbook):
    columns = openpyxl.load_workbook(workbook)["visits"].column_dimensions
    assert columns["A"].number_format == "@", "text, so that visit 007 stays 007"
    assert columns["F"].number_format.startswith("yyyy-mm-dd hh:mm")


def test_same_contract_same_bytes(workbook, tmp_path):
    (again,) = write_templates(tmp_path, "xlsx")
    assert again.read_bytes() == workbook.read_bytes()


def test_what_is_there_is_left_alone(tmp_path):
    write_templates(tmp_path, "csv")
    (tmp_path / "visits.csv").write_text("mine")
    with pytest.raises(TemplateError, match="already there and was left alone"):
        write_templates(tmp_path, "csv")
    assert (tmp_path / "visits.csv").read_text() == "mine"


def test_unknown_kind_and_unusable_folder_are_told(tmp_path):
    with pytest.raises(TemplateError, match="kind is 'ods'; must be one of csv, xlsx"):
        write_templates(tmp_path, "ods")
    (tmp_path / "file").write_text("")
    with pytest.raises(TemplateError, match="cannot be written"):
        write_templates(tmp_path / "file" / "folder", "csv")
