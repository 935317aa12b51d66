"""Everything a page shows: its text, the cells of its tables as they are written, the words of its charts."""

from __future__ import annotations

import json
import re
from typing import Any

import pyarrow as pa
from page_texts import said
from streamlit.testing.v1 import AppTest


def tables(test: AppTest) -> list[Any]:
    """Each table as a frame of what its cells show."""
    found = []
    for one in test.dataframe:
        written = one.proto.arrow_data.styler.display_values
        found.append(pa.ipc.open_stream(written).read_pandas() if written else one.value)
    return found


def charts(test: AppTest) -> list[str]:
    """What is written in and beside each chart: titles, labels, what is told instead of seeing it."""
    found = []
    for one in test.get("vega_lite_chart"):
        found += [one.proto.alt, *_words(json.loads(one.proto.spec))]
        found += [
            str(cell)
            for data in one.proto.datasets
            for name, column in pa.ipc.open_stream(data.data.data).read_pandas().items()
            if name in ("name", "shown", "told")
            for cell in column
        ]
    return found


def _words(told: Any) -> list[str]:
    if isinstance(told, dict):
        own = [told[key] for key in ("title", "text", "name") if isinstance(told.get(key), str)]
        return own + [text for key, entry in told.items() if key != "config" for text in _words(entry)]
    return [text for entry in told for text in _words(entry)] if isinstance(told, list) else []


def everything(test: AppTest) -> str:
    """All of it, but what is behind the button of units, where the separators themselves are offered."""
    boxes = [str(option) for one in test.selectbox if one.key != "numbers_choice" for option in one.options]
    cells = [str(cell) for table in tables(test) for line in table.itertuples(index=False) for cell in line]
    labels = [one.label for kind in ("button", "expander", "tabs") for one in getattr(test, kind)]
    text = said(test)
    for body in (one.proto.body for one in test.get("html") if one.proto.body.startswith("<style>")):
        text = text.replace(re.sub(r"<[^>]+>", " ", body), "")
    return "\n".join([text, *boxes, *labels, *cells, *charts(test)])
