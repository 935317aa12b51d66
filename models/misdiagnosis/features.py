"""What the classifier may look at, by name and by when it becomes known.

A feature is an expression over the columns of `swap_case`. When it becomes known follows from its columns, so that a
feature cannot be declared earlier than it is: a column that is filled in after the visit closed makes training fail.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from pipelines.errors import GoodpullError


class LeakedFeatureError(GoodpullError):
    """A feature uses something not known when the visit closed, or someone's identity, or a column not on the list."""


# When each column of swap_case is known. 'before': the technician cannot choose it. 'visit_close': known when the
# visit closed.
COLUMN_KNOWN_AT: dict[str, str] = {
    **dict.fromkeys(
        ("region", "season", "month", "week_on", "swapped_on", "symptom", "is_after_hours", "appliance_kind", "is_condensing",
         "appliance_age_years"),
        "before",
    ),
    **dict.fromkeys(
        ("evidence", "margin_pa", "cause_code", "cause_group", "contributing_cause_code", "n_readings_before", "n_checks_done",
         "n_checks_fault", "tier_at_close", "has_gauge_reading", "has_after_reading", "n_note_characters", "n_minutes"),
        "visit_close",
    ),
    # The final tier may rest on the bench test, so it is known only later.
    **dict.fromkeys(
        ("verdict", "tier", "has_root_cause", "selection", "selection_probability", "claim_outcome", "claim_credited_amount",
         "unit_cost", "removed_tag", "is_under_warranty"),
        "later",
    ),
    **dict.fromkeys(("technician_id", "diagnosed_by", "owner_id", "branch", "site_id", "appliance_key"), "identity"),
}  # fmt: skip
ALLOWED_AT = ("before", "visit_close")
# Words an expression may use beside columns; no string or number of a record can hide behind them.
_SQL_WORDS = frozenset(
    [
        "case",
        "when",
        "then",
        "else",
        "end",
        "is",
        "null",
        "not",
        "and",
        "or",
        "in",
        "between",
        "coalesce",
        "least",
        "greatest",
        "ln",
        "cos",
        "sin",
        "pi",
        "cast",
        "as",
        "double",
        "varchar",
        "true",
        "false",
    ]
)


@dataclass(frozen=True)
class Feature:
    """One feature. kind: 'number' or 'category'. group: 'case_mix' or 'diagnosis'. sql: over columns of swap_case."""

    name: str
    kind: str
    group: str
    sql: str
    about: str

    @property
    def columns(self) -> tuple[str, ...]:
        """Every name the expression uses that is neither SQL nor a literal."""
        bare = re.sub(r"'[^']*'", " ", self.sql)
        words = re.findall(r"[A-Za-z_][A-Za-z_0-9.]*|\"[^\"]*\"", bare)
        return tuple(dict.fromkeys(word for word in words if word.lower() not in _SQL_WORDS))

    @property
    def known_at(self) -> str:
        """The latest of its columns: 'before', 'visit_close', 'later', 'identity' or 'unknown'."""
        order = ("before", "visit_close", "later", "identity", "unknown")
        return max(
            (COLUMN_KNOWN_AT.get(column, "unknown") for column in self.columns), key=order.index, default="unknown"
        )


def _category(name: str, about: str, group: str, sql: str | None = None) -> Feature:
    return Feature(name, "category", group, sql or f"coalesce({name}, 'not recorded')", about)


_UNKNOWN_FLAG = "CASE WHEN {0} IS NULL THEN 'not recorded' WHEN {0} THEN 'yes' ELSE 'no' END"

CASE_MIX: tuple[Feature, ...] = (
    _category("appliance_kind", "kind of appliance", "case_mix"),
    _category("is_condensing", "whether it condenses its flue gas", "case_mix", _UNKNOWN_FLAG.format("is_condensing")),
    _category(
        "appliance_age",
        "age of the appliance, in bands",
        "case_mix",
        "CASE WHEN appliance_age_years IS NULL THEN 'not recorded' WHEN appliance_age_years < 3 THEN 'under 3' "
        "WHEN appliance_age_years < 8 THEN '3 to 7' WHEN appliance_age_years < 15 THEN '8 to 14' ELSE '15 and more' END",
    ),
    Feature(
        "season_cos",
        "number",
        "case_mix",
        "cos(2 * pi() * (month - 0.5) / 12)",
        "time of the year, winter against summer",
    ),
    Feature(
        "season_sin",
        "number",
        "case_mix",
        "sin(2 * pi() * (month - 0.5) / 12)",
        "time of the year, spring against autumn",
    ),
    _category("is_after_hours", "outside normal hours", "case_mix", _UNKNOWN_FLAG.format("is_after_hours")),
    _category("region", "region", "case_mix"),
    _category("symptom", "what was complained of", "case_mix"),
)
DIAGNOSIS: tuple[Feature, ...] = (
    _category(
        "evidence",
        "what the readings before the repair say of the switch",
        "diagnosis",
        "coalesce(evidence, 'no_reading')",
    ),
    Feature(
        "margin",
        "number",
        "diagnosis",
        "coalesce(greatest(least(margin_pa, 100), -100), 0)",
        "draft beyond the make point, in pascal within -100 to 100; 0 without a reading",
    ),
    # One feature, not two: a switch blamed on a reading and one blamed by a bare code are different things.
    _category(
        "cause_record",
        "whether the switch or something else was blamed, and how well the record bore it out when the visit closed",
        "diagnosis",
        "CASE WHEN coalesce(cause_group, 'none_found') = 'none_found' THEN 'no cause' "
        "WHEN cause_group = 'switch_itself' THEN 'switch blamed' ELSE 'other cause' END || ', ' || coalesce(tier_at_close, 'none')",
    ),
    Feature(
        "n_readings_before",
        "number",
        "diagnosis",
        "least(coalesce(n_readings_before, 0), 6)",
        "readings before the repair, at most 6",
    ),
    Feature("n_checks_done", "number", "diagnosis", "least(coalesce(n_checks_done, 0), 12)", "checks done, at most 12"),
    Feature(
        "n_checks_fault",
        "number",
        "diagnosis",
        "least(coalesce(n_checks_fault, 0), 4)",
        "checks that found a fault, at most 4",
    ),
    _category(
        "has_after_reading", "a reading after the repair", "diagnosis", _UNKNOWN_FLAG.format("has_after_reading")
    ),
    Feature(
        "note_length", "number", "diagnosis", "ln(1 + coalesce(n_note_characters, 0))", "length of the note, logarithm"
    ),
    _category(
        "minutes",
        "time on site, in bands",
        "diagnosis",
        "CASE WHEN n_minutes IS NULL THEN 'not recorded' WHEN n_minutes < 30 THEN 'under 30' WHEN n_minutes < 60 THEN '30 to 59' "
        "WHEN n_minutes < 120 THEN '60 to 119' ELSE '120 and more' END",
    ),
)
REGISTRY: dict[str, Feature] = {feature.name: feature for feature in (*CASE_MIX, *DIAGNOSIS)}


def check_features(features: Sequence[Feature]) -> None:
    """Raise LeakedFeatureError unless every feature is on the list, unchanged, and known when the visit closed."""
    for feature in features:
        if feature.known_at == "identity":
            raise LeakedFeatureError(
                f"Feature {feature.name!r} uses {', '.join(feature.columns)}: who it was or where it was must not be a feature. "
                "Leave it out; technicians are compared afterwards, against their case mix."
            )
        if feature.known_at not in ALLOWED_AT:
            late = [column for column in feature.columns if COLUMN_KNOWN_AT.get(column, "unknown") not in ALLOWED_AT]
            raise LeakedFeatureError(
                f"Feature {feature.name!r} uses {', '.join(late)}, which is not known when the visit closes. Allowed are: "
                + ", ".join(column for column, at in COLUMN_KNOWN_AT.items() if at in ALLOWED_AT)
                + ". Leave it out and train again."
            )
        if REGISTRY.get(feature.name) != feature:
            raise LeakedFeatureError(
                f"Feature {feature.name!r} is not on the list of features. Add it to models/misdiagnosis/features.py, where "
                "when it becomes known is checked."
            )
