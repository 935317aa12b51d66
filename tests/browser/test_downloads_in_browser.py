"""Every kind of file the pages offer arrives at a click, is not empty and is what its name says."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable
from xml.etree import ElementTree

import pyarrow.parquet
import pytest
from looking import assert_sound, opened
from openpyxl import load_workbook
from printed_packs import fetched

pytestmark = pytest.mark.browser


def is_svg(data: bytes) -> bool:
    root = ElementTree.fromstring(data)
    return root.tag.endswith("svg") and len(list(root.iter())) > 20


def has_rows_csv(data: bytes) -> bool:
    rows = list(csv.reader(io.StringIO(data.decode("utf-8-sig"))))
    return len(rows) > 1 and len({len(row) for row in rows}) == 1


def has_rows_xlsx(data: bytes) -> bool:
    return load_workbook(io.BytesIO(data), read_only=True).active.max_row > 1


def has_rows_parquet(data: bytes) -> bool:
    return pyarrow.parquet.read_table(io.BytesIO(data)).num_rows > 0


PICTURES: dict[str, tuple[str, Callable[[bytes], bool]]] = {
    "PNG": (".png", lambda data: data[:8] == b"\x89PNG\r\n\x1a\n" and len(data) > 5_000),
    "SVG": (".svg", is_svg),
    "PDF, A4": (".pdf", lambda data: data[:5] == b"%PDF-" and b"%%EOF" in data[-64:]),
    "Web page, one file": (".html", lambda data: b"<html" in data[:200].lower() and len(data) > 5_000),
}
TABLES: dict[str, tuple[str, Callable[[bytes], bool]]] = {
    "Export as CSV": (".csv", has_rows_csv),
    "XLSX": (".xlsx", has_rows_xlsx),
    "Parquet": (".parquet", has_rows_parquet),
}


def test_pictures_and_packs_arrive(browser, fleet_address: str) -> None:
    with opened(browser, fleet_address) as (tab, seen):
        for label, (ending, is_right) in PICTURES.items():
            name, data = fetched(tab, tab.get_by_role("button", name=label, exact=True).first)
            assert name.endswith(ending)
            assert is_right(data), (label, data[:80])
        assert_sound(tab, seen)


def test_tables_arrive(browser, fleet_address: str) -> None:
    with opened(browser, fleet_address) as (tab, seen):
        tab.get_by_role("button", name="Show the visits behind it").first.click()
        window = tab.get_by_role("dialog")
        window.locator("canvas").first.wait_for()
        for label, (ending, is_right) in TABLES.items():
            name, data = fetched(tab, window.get_by_role("button", name=label))
            assert name.endswith(ending)
            assert is_right(data), (label, data[:80])
        assert_sound(tab, seen)
