"""What the figures were proven on: the table of simulated fleets with known truth, as the Method page shows it."""

from __future__ import annotations

import json
import math
from importlib import resources
from typing import Any

import streamlit as st

from dashboard import page, words
from dashboard.reader_choice import written
from models.methods.numeral import marked

FILE = "recovery.json"
COLUMNS = (
    ("What was looked at", "text"), ("Promised", "text"), ("Found, give or take", "text"), ("Rests on", "text"),
    ("Kept", "text"),
)  # fmt: skip
# What is told of a row in words of ours.
PROSE = ("what", "bar", "note")
INTRODUCTION = (
    "Nobody knows the truth about a real company's switches, so the figures were tried on invented ones, where it is known. "
    "Whole fleets were made, written to files, loaded like anyone's records and worked out by the same program; further "
    "trials were made without files. Give or take is the standard error that comes from the number of tries."
)

_WIDE = (
    "The range allows for weeks that differ by more than chance and for not knowing how many harmonics the season needs; in "
    "these fleets it is wider than it had to be. The day found lies a little to one side, as the note says, so nearly all of "
    "the misses are on that side. Both sides together, it claims less than it could, not more."
)
_FEW_CALLBACKS = (
    "Swaps with a recorded cause seldom come back, so a fleet has few such callbacks, and for few the range is made a little "
    "wide. It claims less than it could, not more."
)
_HARDLY_ANY_CALLBACK = (
    "Such a company has a handful of callbacks after a recorded cause or none; the lower end of the range lies right, the "
    "upper one too high. It claims less than it could, not more."
)
_FEW_LABELS = "The first later block is predicted from the fewest labels, so its probabilities are the least sure."
_HARDLY = (
    "Technicians who are hardly weaker than the rest are told from them by few faults each. The one they are measured "
    "against knows how technicians differ in such fleets; here that has to be learned from the one company."
)
_HARDLY_RULES = (
    "Technicians who are hardly weaker than the rest are told from them by few faults each. The rules of thumb are compared "
    "with a cut moved in hindsight, which nobody has who must decide today; as they stand, more of their marks are false."
)
# A 95% range that holds the truth less often than this is too narrow; the reasons below are those of ranges too wide.
WELL_COVERED = 0.935
MORE_THAN_ONE = "more than 1 times"
NARROW = "The ranges are too narrow: the truth lies outside them more often than promised. Why is not known."
# Why a promise is not kept, by the row of the table.
WHY: dict[str, str] = {
    "coverage_callbacks_with_cause": _FEW_CALLBACKS,
    "coverage_callbacks_few_sites_with_cause": _HARDLY_ANY_CALLBACK,
    "coverage_peak_condensate": _WIDE,
    "coverage_peak_blockage": _WIDE,
    "classifier_calibration": _FEW_LABELS,
    "classifier_slope": _FEW_LABELS,
    "trial_recall_hardly_weak_technicians": _HARDLY,
    "trial_rules_hardly_weak_technicians": _HARDLY_RULES,
}


def table() -> dict[str, Any] | None:
    """The evidence table as it was made, or None where this copy has none that can be read."""
    try:
        found = json.loads(resources.files("models").joinpath("evidence", FILE).read_text("utf-8"))
    except (OSError, ValueError):
        return None
    if not (isinstance(found, dict) and isinstance(found.get("rows"), list)):
        return None
    return found | {
        "rows": [{key: marked(cell) if key in PROSE else cell for key, cell in row.items()} for row in found["rows"]]
    }


def show() -> None:
    """The table, what was not kept, and how it was made."""
    found = table()
    st.markdown(words.plain(INTRODUCTION))
    if found is None:
        st.markdown("The table is not in this copy. It is made by: python tests/recovery/long_form.py")
        return
    lines = [line(row) for row in found["rows"]]
    page.rows(COLUMNS, lines, "The table is empty.")
    broken = [row for row in found["rows"] if not row["is_held"]]
    if broken:
        st.markdown("**Promises not kept**")
        st.markdown("\n".join(f"- {words.plain(missed(row))}" for row in broken))
    notes = [f"{row['what']}: {row['note']}" for row in found["rows"] if row["note"]]
    if notes:
        st.markdown("**Notes**")
        st.markdown("\n".join(f"- {words.plain(note)}" for note in notes))
    st.caption(words.plain(
        f"Made on {found['made_on']} from {words.plural(found['n_fleets'], 'usual fleet')} of about "
        f"{words.count(found['visits_per_fleet'])} visits each, by: {found['command']}"
    ))  # fmt: skip


def show_limits() -> None:
    """Every promise not kept in the table, with the reason as far as it is known."""
    found = table()
    if found is None:
        st.markdown("How far the figures keep what they promise is not in this copy.")
        return
    broken = [row for row in found["rows"] if not row["is_held"]]
    if not broken:
        st.markdown("On the invented fleets every promise was kept.")
        return
    st.markdown("**What was promised and is not kept on invented fleets, and why**")
    st.markdown("\n".join(f"- {words.plain(limit(row))}" for row in broken))


def limit(row: dict[str, Any]) -> str:
    """A promise not kept: found how far, what the table says beside it, and why, where that is known."""
    is_coverage = "coverage" in row["id"]
    is_known = row["value"] is not None and math.isfinite(row["value"])
    if not is_known:
        why = "Nothing could be worked out, so whether it is kept is not known."
    elif is_coverage and row["value"] < WELL_COVERED:
        why = NARROW
    else:
        why = WHY.get(row["id"], "Why is not known.")
    return " ".join(part for part in (missed(row), row["note"], why) if part)


def line(row: dict[str, Any]) -> tuple[str, str, str, str, str]:
    """One row of the table in words."""
    rests_on = f"{words.count(row['n'])} {row['n_of']}"
    return row["what"], row["bar"], amount(row), rests_on, kept(row)


def kept(row: dict[str, Any]) -> str:
    """Whether the promise is kept; of a ratio that has to pass 1, also whether it can be told from 1."""
    if not row["is_held"]:
        return "no"
    if row["bar"] == MORE_THAN_ONE and row["value"] - 2 * row["error"] < 1:
        return "yes, but not told from 1"
    return "yes"


def amount(row: dict[str, Any]) -> str:
    """The value with its standard error, in the unit of the row; "not known" where there is none.

    A value that was not kept is told with as many digits as show that it lies beyond what was promised.
    """
    value, error, unit = row["value"], row["error"], row["unit"]
    if value is None or not math.isfinite(value):
        return "not known"
    if unit == "share":
        return f"{_digits(100 * value, 1, row)}% ± {words.number(100 * error)}"
    if unit == "points":
        told = (
            words.points(value) if row["is_held"] else f"{_digits(100 * value, 1, row, '+').replace('-', '−')} points"
        )
        return f"{told} ± {words.number(100 * error, 2)}"
    # Two digits would show an error of .029 as the .03 that is allowed.
    digits = 4 if unit == "per point" else 3 if value < 0.1 else 2
    return f"{_digits(value, digits, row)} ± {words.number(error, digits)}"


def _digits(value: float, digits: int, row: dict[str, Any], sign: str = "") -> str:
    """The value with these digits after the point; with one more where it was not kept and rounding hides something."""
    few, more = f"{value:{sign}.{digits}f}", f"{value:{sign}.{digits + 1}f}"
    return written(few if row["is_held"] or float(few) == float(more) else more)


def missed(row: dict[str, Any]) -> str:
    return f"{row['what']}: promised {row['bar']}, found {amount(row)} over {words.count(row['n'])} {row['n_of']}."
