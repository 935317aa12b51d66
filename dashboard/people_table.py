"""A table in which each row is a person: in the order of their names, which no click can change. No league table."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from functools import partial

import pandas as pd

from dashboard import long_list, words
from dashboard.frame_text import FrameText, with_currency

NAME = "Technician"
N_SHOWN = 20


def show(
    frame: pd.DataFrame,
    key: str,
    shares: Collection[str] = (),
    amounts: Collection[str] = (),
    currency: str = "",
    ranges: Mapping[str, tuple[str, str]] | None = None,
) -> None:
    """The table with its export, which holds the columns as they are given; those of amounts name the currency.

    frame: a row a person, NAME as the reader may see it. shares, amounts, currency, ranges: see FrameText.
    """
    ordered = frame.sort_values(NAME, ignore_index=True)
    text = FrameText(ordered, shares, amounts, currency, ranges or {}, words.NOT_KNOWN)
    export = partial(with_currency, ordered, amounts, currency)
    long_list.show(text.columns(), text, key, "Nobody.", "by name", N_SHOWN, export)
