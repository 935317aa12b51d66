"""Tables and pictures as files: real types, a frozen header, nothing that a spreadsheet would run."""

from __future__ import annotations

import datetime as dt
import io
import struct
from pathlib import Path

import openpyxl
import pandas as pd
import pyarrow.parquet as pq
import pytest
from page_texts import assert_drawn, opened

from dashboard import exports, shown_cells, theme
from dashboard.charts.callbacks import callback_curve
from dashboard.printed import drawing

FORMULA = '=HYPERLINK("http://example.invalid")'
FRAME = pd.DataFrame(
    {
        "=Name": [FORMULA, None, "@x"],
        "n": [1, 2, 3],
        "share": [0.25, float("nan"), 1.0],
        "on": pd.to_datetime(["2026-01-05", None, "2026-02-01"]),
        "day": [dt.date(2026, 1, 5), None, dt.date(2026, 2, 1)],
        "is": [True, False, True],
        "why": [["a", "b"], [], ["c"]],
        "days": pd.array([6, None, 28], dtype="Int64"),
    }
)


def test_xlsx_holds_real_types_and_a_frozen_header() -> None:
    sheet = openpyxl.load_workbook(io.BytesIO(exports.xlsx_bytes(FRAME))).active
    assert sheet.freeze_panes == "A2"
    first, second = ([cell.value for cell in row] for row in list(sheet.rows)[1:3])
    assert first == [FORMULA, 1, 0.25, dt.datetime(2026, 1, 5), dt.datetime(2026, 1, 5), True, "a b", 6]
    assert sheet["A2"].data_type == "s" and sheet["A1"].data_type == "s"
    assert second[0] is None and second[2] is None and second[3] is None and second[7] is None
    assert sheet["D2"].number_format == "yyyy-mm-dd"


def test_xlsx_and_parquet_are_the_same_bytes_each_time() -> None:
    assert exports.xlsx_bytes(FRAME) == exports.xlsx_bytes(FRAME)
    assert exports.parquet_bytes(FRAME) == exports.parquet_bytes(FRAME)


def test_parquet_keeps_types_and_takes_mixed_columns_as_text() -> None:
    read = pq.read_table(io.BytesIO(exports.parquet_bytes(FRAME.assign(mixed=[1, "two", None]))))
    kinds = {field.name: str(field.type) for field in read.schema}
    assert kinds["n"] == "int64" and kinds["share"] == "double" and kinds["day"] == "date32[day]"
    assert kinds["is"] == "bool" and read["mixed"].to_pylist() == ["1", "two", None]


def test_an_empty_table_is_a_file_too() -> None:
    empty = FRAME.iloc[:0]
    assert openpyxl.load_workbook(io.BytesIO(exports.xlsx_bytes(empty))).active.max_row == 1
    assert pq.read_table(io.BytesIO(exports.parquet_bytes(empty))).num_rows == 0


def test_a_table_of_text_gets_its_numbers_back() -> None:
    columns = (("Group", "text"), ("Swaps", "number"), ("Share", "number"), ("", "text"))
    frame = shown_cells.shown_frame(columns, [("1,000", "12,345", "12%", "x"), ("b", "−3", "not known", None)])
    assert frame["Swaps"].tolist() == [12345.0, -3.0]
    assert frame["Group"].tolist() == ["1,000", "b"], "a name is no number"
    assert frame["Share"].iloc[0] == 0.12 and frame["Share"].isna().iloc[1]


def test_a_table_of_text_gets_its_days_shares_and_units_back() -> None:
    columns = (("Day", "text"), ("Cost", "number"), ("Share", "number"), ("Mixed", "number"), ("Between", "number"))
    body = [
        ("9 Nov 2026", "1,234 USD", "12.5%", "3 days", "1 to 2"),
        ("–", "not known", "100%", "4 in. w.c.", "3"),
        ("31 Dec 2025", "−7 USD", "0%", "5", "4"),
    ]
    frame = shown_cells.shown_frame(columns, body)
    assert frame["Day"].tolist() == [dt.date(2026, 11, 9), None, dt.date(2025, 12, 31)]
    assert frame["Cost (USD)"].tolist()[::2] == [1234.0, -7.0] and frame["Cost (USD)"].isna().tolist() == [
        False,
        True,
        False,
    ]
    assert frame["Share"].tolist() == [0.125, 1.0, 0.0]
    assert frame["Mixed"].tolist() == ["3 days", "4 in. w.c.", "5"] and frame["Between"].tolist() == [
        "1 to 2",
        "3",
        "4",
    ]
    sheet = openpyxl.load_workbook(io.BytesIO(exports.xlsx_bytes(exports.canonical_frame(frame)))).active
    assert sheet["A2"].value == dt.datetime(2026, 11, 9) and sheet["A2"].number_format == "yyyy-mm-dd"
    assert (sheet["C2"].value, sheet["C2"].number_format) == (0.125, "0.0%")
    assert sheet["B2"].value == 1234 and sheet["B1"].value == "Cost (USD)"


def test_a_chart_as_png_and_svg() -> None:
    curve = pd.DataFrame({"days": [0, 30], "group": ["with_cause"] * 2, "value": [0.0, 0.2]})
    picture = callback_curve(curve, theme.LIGHT)
    assert picture is not None
    png = drawing.png(picture, 600)
    assert png.startswith(b"\x89PNG") and struct.unpack(">I", png[16:20])[0] == 1200
    svg = drawing.svg(picture, 600)
    assert svg.startswith("<svg") and "with a root cause: 20%" in svg
    assert svg == drawing.svg(picture, 600)


@pytest.mark.parametrize("served_home", ["fleet_home"], indirect=True)
def test_pages_offer_their_pack_their_tables_and_their_pictures(served_home: Path) -> None:
    for name, kind in (("this_week", "week"), ("seasons", "season")):
        test = opened(name)
        assert_drawn(test)
        labels = [button.proto.label for button in test.get("download_button")]
        assert {"PDF, A4", "PDF, US Letter", "Web page, one file", "PNG", "SVG"} <= set(labels), (name, labels)
        assert any(button.proto.id.endswith(f"pack_{kind}_a4") for button in test.get("download_button"))
    labels = [button.proto.label for button in opened("coaching").get("download_button")]
    assert labels.count("Export as CSV") == labels.count("XLSX") == labels.count("Parquet") > 2
