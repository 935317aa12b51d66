"""Tables of numbers in the reader's separators that still sort by number.

The page library writes numbers as the browser's language does, which need not be what the reader chose here. So the cell
keeps its number, and beside it goes the text that is shown.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

import pandas as pd

from dashboard import words
from dashboard.reader_choice import written

# Cells beyond which a table is sent without texts of its own: pandas would refuse to make them.
MOST_CELLS = 250_000
# Most digits after the point of a number nobody gave a form for.
DIGITS = 4


def shown(frame: pd.DataFrame, forms: Mapping[str, Callable[[Any], str]] | None = None) -> Any:
    """The frame for st.dataframe: numbers with their text beside them, sentences of the models as the reader wants them.

    forms: column -> what writes its cells; other columns of numbers with decimals get up to four, whole ones stay as they
    are. The column's configuration must name no format, or the text is not shown.
    """
    found = frame.reset_index(drop=True)
    for name in found.columns:
        if found[name].dtype == object or pd.api.types.is_string_dtype(found[name]):
            found[name] = found[name].map(lambda cell: words.told(cell) if isinstance(cell, str) else cell)
    forms = {name: form for name, form in (forms or {}).items() if name in found.columns}
    usual = {name: decimals for name in found.columns if pd.api.types.is_float_dtype(found[name])}
    if not (usual | forms) or found.size > MOST_CELLS:
        return found
    texts: dict[Any, Any] = {name: str for name in found.columns} | usual | forms
    return found.style.format({name: _unless_missing(form) for name, form in texts.items()})


def decimals(value: float) -> str:
    """A number with as many digits after the point as it has, four at most."""
    text = f"{value:,.{DIGITS}f}"
    return written(text.rstrip("0").rstrip("."))


def fixed(digits: int, unit: str = "") -> Callable[[float], str]:
    """Numbers with so many digits after the point, the unit right behind."""
    return lambda value: words.number(value, digits) + unit


def _unless_missing(form: Callable[[Any], str]) -> Callable[[Any], str]:
    return lambda value: "" if words.is_missing(value) else form(value)
