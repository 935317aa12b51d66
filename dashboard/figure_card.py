"""One figure as it is shown everywhere: value, range, what it rests on, a sentence, and the visits behind it."""

from __future__ import annotations

import html

import streamlit as st

from dashboard import page, roles, scope_bar, visit_table, words
from dashboard.figures_access import coverage
from dashboard.glossary import with_terms
from models.methods.estimate import Estimate


def show(
    label: str,
    estimate: Estimate,
    unit: str,
    key: str,
    *,
    rests_on: str = "",
    note: str = "",
    reach: str = "",
    currency: str | None = None,
    behind: visit_table.Behind | None = None,
    behind_label: str = "Show the visits behind it",
) -> None:
    """Draw the card.

    unit: see words.value_of. rests_on: what n and coverage count, in words. note: a further line. reach: said instead
    of the range, where a figure without one was not counted.
    How many corrections the records within the filters include is told below.
    behind: gives the newest visits behind the figure, at most as many as asked for; asked only when they are opened.
    """
    st.html(_card(label, estimate, unit, rests_on or _rests_on(estimate), note, currency, reach))
    if behind is not None:
        opens(label, key, behind, behind_label)


def opens(title: str, key: str, behind: visit_table.Behind, label: str = "Show the visits behind it") -> None:
    """The button below a figure that opens its visits. title: of the window they open in."""
    if st.button(label, key=f"behind_{key}", type="tertiary", icon=":material/list:"):
        visit_table.open_dialog(title, key, behind)


def _card(label: str, estimate: Estimate, unit: str, rests_on: str, note: str, currency: str | None, reach: str) -> str:
    lines = (rests_on, note, corrected())
    quiet = "".join(f'<p class="gp-quiet">{with_terms(html.escape(words.told(line)))}</p>' for line in lines if line)
    head = f'<div class="gp-label">{with_terms(html.escape(label))}</div>'
    if not estimate.is_known:
        why = html.escape(words.told(estimate.sentence or "There are not enough records to say."))
        return f'<div class="gp-card gp-unknown">{head}<div class="gp-value">Not known</div><p>{why}</p>{quiet}</div>'
    value = html.escape(words.value_of(estimate.value, unit, currency))
    reach = reach or words.range_of(estimate, unit, currency)
    return (
        f'<div class="gp-card">{head}<div class="gp-value">{value}</div>{_bar(estimate, unit, reach)}'
        f"<p>{html.escape(reach[:1].upper() + reach[1:])}</p>{quiet}</div>"
    )


def corrected() -> str:
    """How many corrections are in force within the filters; counts of the company are not for a technician's own sheet."""
    if not roles.may_see("coverage"):
        return ""
    n = coverage(scope_bar.scope())["n_corrections"]
    return f"Includes {words.plural(n, 'correction')}" if n else "No corrections"


def _rests_on(estimate: Estimate) -> str:
    parts = [words.plural(estimate.n, "case")]
    if estimate.coverage is not None:
        parts.append(f"{words.share(estimate.coverage)} of those that could tell")
    return ", ".join(parts)


def _bar(estimate: Estimate, unit: str, reach: str) -> str:
    """The range drawn on a rule."""
    found = bar_of(estimate, unit)
    if found is None:
        return ""
    low, high, value = found
    shades = page.colours()
    return (
        f'<div class="gp-rule" role="img" aria-label="{html.escape(reach)}">'
        f'<i style="left:0;width:100%;top:7px;height:2px;background:{shades.line}"></i>'
        f'<i style="left:{low:.1f}%;width:{max(high - low, 0.6):.1f}%;top:4px;height:8px;'
        f'background:{shades.main};opacity:.42"></i>'
        f'<i style="left:calc({value:.1f}% - 1px);width:2px;top:1px;height:14px;background:{shades.ink}"></i></div>'
    )


def bar_of(estimate: Estimate, unit: str) -> tuple[float, float, float] | None:
    """Where low, high and value lie on a rule, in 0..100: shares on 0 to 100%, other amounts from zero to a little past
    the upper end; None where a rule would tell nothing.
    """
    if (
        estimate.low is None
        or estimate.high is None
        or estimate.value is None
        or unit in ("day_of_year", "points", "Pa", "in. w.c.")
    ):
        return None
    end = 1.0 if unit == "share" else max(estimate.high, estimate.value, 0.0) * 1.15
    if end <= 0:
        return None
    low, high, value = (
        min(max(amount / end, 0.0), 1.0) * 100 for amount in (estimate.low, estimate.high, estimate.value)
    )
    return low, high, value
