"""The model card as a page shows it: what the model is for, how far to trust it, what it looks at."""

from __future__ import annotations

import datetime as dt
import math
from typing import Any

import pandas as pd
import streamlit as st

from dashboard import page, visit_table, words

GROUP_WORDS = {"case_mix": "case mix: cannot be chosen", "diagnosis": "how it was diagnosed"}
KNOWN_WORDS = {"before": "before the visit", "visit_close": "when the visit closed"}
# Codes of the categories, in words.
LEVEL_WORDS = words.CAUSE_WORDS | words.SYMPTOM_WORDS | words.EVIDENCE_WORDS | words.TIER_WORDS


def show(card: dict[str, Any]) -> None:
    """The card. card: models.misdiagnosis.model_card."""
    page.rows((("What", "text"), ("", "text")), facts(card), "There is no model card: no bench test to train on.")
    if card.get("calibration_table"):
        st.markdown("**Was it right? Switches tested later, by what it had said of them**")
        lines = [
            (words.share(line["predicted"]), words.share(line["observed"]), words.count(line["n"]))
            for line in card["calibration_table"]
        ]
        columns = (("Said to be good", "number"), ("Found good on the bench", "number"), ("Switches", "number"))
        page.rows(columns, lines, "")
    if card.get("features"):
        st.markdown("**What it looks at**")
        heads = tuple(
            (title, "text") for title in ("It looks at", "Part of", "Known", "Speaks most for good", "and for faulty")
        )
        page.rows(heads, [_feature(entry) for entry in card["features"]], "")
        st.caption(
            "A weight is the change of the log odds of a good switch: for a category, against the one named; for a "
            f"number, by one standard deviation. 0 changes nothing; 1 makes the odds {words.number(math.e)} times as high."
        )
        page.lazily("Every weight", "weights", lambda: visit_table.plain_table(weights(card["features"]), "weights"))


def facts(card: dict[str, Any]) -> list[tuple[str, str]]:
    """The facts of the card in words, one row each; what is not on the card is left out."""
    rows = [("What it is for", card.get("purpose", ""))]
    if card.get("reason"):
        rows.append(("Why there is none", card["reason"]))
    learned = (
        f"{words.plural(card.get('n', 0), 'switch', 'switches')} with a clear bench result: "
        f"{words.count(card.get('n_good', 0))} good, {words.count(card.get('n_faulty', 0))} faulty"
    )
    if card.get("first_on"):
        learned += f"; {_date(card['first_on'])} to {_date(card['last_on'])}"
    rows.append(("Learned from", learned))
    if not card.get("is_available"):
        return rows
    rows += [
        ("Method", f"{card['method']}; penalty {words.number(card['penalty_c'])}"),
        ("Most weight of one switch", f"that of {words.number(card['largest_weight'])} typical ones"),
        ("How it was checked", card["validation"]),
        ("How it was set right", card["recalibration"]),
        ("Checked on", words.plural(card["n_validated"], "later switch", "later switches")),
        (
            "Share of them that was good, each test weighted by how seldom its kind is tested",
            words.share(card["base_rate"]),
        ),
        ("Skill", _told(card["brier_skill"], "1 would be perfect, 0 no better than giving everyone that share")),
        ("Skill of the case mix alone", _told(card["case_mix_brier_skill"], "it sets what is expected of a person")),
        (
            "Slope of calibration",
            _told(
                card["calibration_slope"],
                f"give or take {words.number(card['calibration_slope_error'], 2)}; 1 is as sure as it should be, less is "
                "too sure",
            ),
        ),
        ("Error of calibration", f"{words.share(card['calibration_error'])} on average between said and found"),
    ]
    about = {entry["name"]: entry["about"] for entry in card["features"]}
    rows.append(
        ("The case mix is", "; ".join(about.get(name, words.label(name)) for name in card["case_mix_features"]))
    )
    return rows


def weights(features: list[dict[str, Any]]) -> pd.DataFrame:
    """Every weight of the model: DataFrame[It looks at, Category, Against, Weight]."""
    return pd.DataFrame(
        [
            (
                entry["about"],
                _level(name) if entry["reference"] else "",
                _level(entry["reference"]),
                round(value, 3),
            )
            for entry in features
            for name, value in entry["weights"].items()
        ],
        columns=["It looks at", "Category", "Against", "Weight"],
    )


def _feature(entry: dict[str, Any]) -> tuple[str, ...]:
    ordered = sorted(entry["weights"].items(), key=lambda one: one[1])
    start = (entry["about"], GROUP_WORDS.get(entry["group"], entry["group"]), KNOWN_WORDS.get(entry["known_at"], ""))
    if not ordered:
        return (*start, "", "")
    if not entry["reference"]:
        told = f"more of it ({_weight(ordered[0][1])})"
        return (*start, told, "") if ordered[0][1] > 0 else (*start, "", told)
    against = f", against {_level(entry['reference'])}"
    high, low = ordered[-1], ordered[0]
    most = f"{_level(high[0])} ({_weight(high[1])}{against})" if high[1] > 0 else f"{_level(entry['reference'])}"
    least = f"{_level(low[0])} ({_weight(low[1])}{against})" if low[1] < 0 else f"{_level(entry['reference'])}"
    return (*start, most, least)


def _level(name: str) -> str:
    """The category of a weight, or a category, in words: 'cause_code = hose_water' -> 'water in the sensing hose'."""
    level = name.split(" = ", 1)[-1]
    return LEVEL_WORDS.get(level, words.label(level)) if level else ""


def _weight(value: float) -> str:
    return f"{'+' if value > 0 else '−' if value < 0 else ''}{words.number(abs(value), 2)}"


def _told(value: float | None, meaning: str) -> str:
    return words.NOT_KNOWN if value is None else f"{words.number(value, 2)} ({meaning})"


def _date(text: str) -> str:
    return words.date(dt.date.fromisoformat(text))
