"""Tables as files: CSV, XLSX and Parquet. No cell leaves in a form that a spreadsheet would run."""

from __future__ import annotations

import datetime as dt
import io
import math
from typing import Any

import pandas as pd

from dashboard.shown_cells import SHARES
from dashboard.words import formula_safe, is_missing
from models.methods.numeral import canonical

# What a workbook says of its making; fixed, so that the same table gives the same bytes.
MADE_AT = dt.datetime(2000, 1, 1)
MOST_WIDTH, LEAST_WIDTH = 60, 8
# A sheet holds no more; what is beyond goes by CSV or Parquet.
XLSX_ROWS = 1_048_575
XLSX_CHARACTERS = 32_767


def canonical_frame(frame: pd.DataFrame) -> pd.DataFrame:
    """The frame with the numbers of the models' sentences as 1,234.5, whatever the reader's separators: files are for programs."""
    text = [name for name in frame.columns if frame[name].dtype == object or pd.api.types.is_string_dtype(frame[name])]
    return frame.assign(
        **{name: frame[name].map(lambda cell: canonical(cell) if isinstance(cell, str) else cell) for name in text}
    )


def csv_bytes(frame: pd.DataFrame) -> bytes:
    """The frame as CSV, UTF-8 with a byte-order mark so that spreadsheets read it rightly; formula-safe."""
    safe = frame.rename(columns=formula_safe)
    for name in safe.columns:
        if safe[name].dtype == object or pd.api.types.is_string_dtype(safe[name]):
            safe[name] = safe[name].map(formula_safe, na_action="ignore")
    return safe.to_csv(index=False, lineterminator="\r\n").encode("utf-8-sig")


def xlsx_bytes(frame: pd.DataFrame, title: str = "Table") -> bytes:
    """The frame as one sheet: numbers as numbers, days as days, text as text that is never run; header frozen."""
    import xlsxwriter

    made = io.BytesIO()
    book = xlsxwriter.Workbook(made, {"in_memory": True, "strings_to_formulas": False, "strings_to_urls": False})
    book.set_properties({"created": MADE_AT})
    sheet = book.add_worksheet(title[:31])
    head = book.add_format({"bold": True, "bottom": 1})
    kinds: dict[type, Any] = {
        dt.date: book.add_format({"num_format": "yyyy-mm-dd"}),
        dt.datetime: book.add_format({"num_format": "yyyy-mm-dd hh:mm"}),
    }
    sheet.freeze_panes(1, 0)
    shares = frame.attrs.get(SHARES, ())
    as_share = book.add_format({"num_format": "0.0%"})
    for place, name in enumerate(frame.columns):
        sheet.write_string(0, place, str(name), head)
        values = [*frame[name].iloc[:XLSX_ROWS]]
        longest = max([len(str(name)), *(len(str(value)) for value in values[:200] if not is_missing(value))])
        sheet.set_column(
            place, place, min(max(longest + 1, LEAST_WIDTH), MOST_WIDTH), as_share if name in shares else None
        )
        for line, value in enumerate(values, start=1):
            _write(sheet, line, place, value, kinds)
    if len(frame.columns):
        sheet.autofilter(0, 0, min(len(frame), XLSX_ROWS), len(frame.columns) - 1)
    book.close()
    return made.getvalue()


def parquet_bytes(frame: pd.DataFrame) -> bytes:
    """The frame as Parquet, with the types it has; columns of mixed kinds as text."""
    import pyarrow as pa
    import pyarrow.parquet as pq

    columns = {}
    for name in frame.columns:
        try:
            columns[str(name)] = pa.Array.from_pandas(frame[name])
        except (pa.ArrowInvalid, pa.ArrowTypeError):
            text = [None if is_missing(value) else str(value) for value in frame[name]]
            columns[str(name)] = pa.array(text, pa.string())
    made = io.BytesIO()
    pq.write_table(pa.table(columns), made, compression="zstd")
    return made.getvalue()


def _write(sheet: Any, line: int, place: int, value: Any, kinds: dict[type, Any]) -> None:
    if isinstance(value, list | tuple):
        value = " ".join(map(str, value))
    if is_missing(value):
        return
    if isinstance(value, bool) or type(value).__name__ in ("bool", "bool_"):
        sheet.write_boolean(line, place, bool(value))
    elif isinstance(value, dt.datetime):
        plain = pd.Timestamp(value).tz_localize(None).to_pydatetime()
        sheet.write_datetime(line, place, plain, kinds[dt.date if plain.time() == dt.time() else dt.datetime])
    elif isinstance(value, dt.date):
        sheet.write_datetime(line, place, dt.datetime.combine(value, dt.time()), kinds[dt.date])
    elif isinstance(value, int | float) or hasattr(value, "dtype"):
        number = float(value)
        if math.isfinite(number):
            sheet.write_number(line, place, number)
    else:
        sheet.write_string(line, place, str(value)[:XLSX_CHARACTERS])
