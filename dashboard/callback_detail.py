"""Callbacks counted in other ways, and compared within like cases."""

from __future__ import annotations

import pandas as pd
import streamlit as st

from dashboard import page, week_parts, words
from models.figures.callback_ends import ENDS_RULE
from models.figures.callbacks import ASSOCIATION, Callbacks
from models.figures.coverage import came_back
from models.methods.estimate import Estimate

STRATA = {
    "symptom": "Symptom",
    "evidence": "Readings say",
    "appliance": "Appliance",
    "branch": "Branch",
    "season": "Heating season from",
}
Line = tuple[str, str, str, str]


def show(returns: Callbacks, window: int, facts: dict) -> None:
    """window: days the page shows. facts: coverage; where appliances are not proven, nothing is shown as known."""
    columns = (
        ("Counted as", "text"),
        ("No cause recorded", "number"),
        ("Cause recorded", "number"),
        ("Difference", "text"),
    )
    page.rows(columns, ways(returns, window, facts), "")
    ends = returns.n_ends
    st.caption(
        words.plain(
            f"{ENDS_RULE} Watches that ended so: {words.plural(ends.get('removed', 0), 'removal')}, "
            f"{words.plural(ends.get('next_swap', 0), 'next swap')}. {_left_out(facts)}{ASSOCIATION}"
        )
    )
    lines = _strata(returns.by_stratum) if came_back(returns.within_strata, facts).is_known else []
    among = (("Among", "text"), ("", "text"), ("Swaps", "number"), *columns[1:])
    page.rows(among, lines, "Too few swaps with and without a cause in like cases to compare them.")


def _left_out(facts: dict) -> str:
    told = week_parts.never_complete(facts)
    return f"{told}: nothing says from when to watch them. " if told else ""


def ways(returns: Callbacks, window: int, facts: dict) -> list[Line]:
    """One line per way of counting: title, without a cause, with one, difference with its range."""
    titles = [
        (f"Back within {window} days", returns.windows),
        ("the same, removal and the next swap as ends of their own", returns.competing),
        (f"Back within {window} heating days", returns.heating_clock),
        ("Cause counts only if measured", returns.cuts.get("measured", {})),
        ("A cause code alone counts too", returns.cuts.get("code_only", {})),
    ]
    lines = [_line(title, windows[window], facts) for title, windows in titles if window in windows]
    if window in returns.possible:
        # An upper bound, which holds whether or not the appliances are proven.
        lines.insert(
            min(3, len(lines)),
            _line("Back, or perhaps back: the appliance is not proven", returns.possible[window], None),
        )
    like = came_back(returns.within_strata, facts)
    lines.append(("Among like cases (symptom, appliance, season)", "", "", _difference(like)))
    if window in returns.repeats:
        each = returns.repeats[window]
        lines.append(
            (f"Callbacks per swap within {window} days, repeats counted", _each(each["without_cause"], facts),
             _each(each["with_cause"], facts), "")
        )  # fmt: skip
    return lines


def _line(title: str, pair: dict[str, Estimate], facts: dict | None) -> Line:
    """facts: None = shown as it is."""
    without, with_cause, difference = (
        pair[name] if facts is None else came_back(pair[name], facts)
        for name in ("without_cause", "with_cause", "difference")
    )
    return title, words.share(without.value), words.share(with_cause.value), _difference(difference)


def _difference(estimate: Estimate) -> str:
    if not estimate.is_known:
        return f"not known: {estimate.sentence}"
    return f"{words.points(estimate.value)}, {words.range_of(estimate, 'points')}"


def _each(estimate: Estimate, facts: dict) -> str:
    known = came_back(estimate, facts)
    if not known.is_known:
        return words.NOT_KNOWN
    return f"{words.number(known.value, 2)} ({words.number(known.low, 2)} to {words.number(known.high, 2)})"


def _strata(frame: pd.DataFrame) -> list[tuple[str, ...]]:
    return [
        (
            STRATA.get(row.stratum_kind, row.stratum_kind),
            words.in_words(row.stratum, words.EVIDENCE_WORDS | words.SYMPTOM_WORDS),
            words.count(row.n_with + row.n_without),
            words.share(row.without_cause),
            words.share(row.with_cause),
            f"{words.points(row.difference)}, between {words.points(row.low)} and {words.points(row.high)}",
        )
        for row in frame.itertuples(index=False)
    ]
