"""How many records lack which field, and what the others with it came to."""

from __future__ import annotations

from typing import Any

import duckdb
import pandas as pd

from models.figures.cases import LACKS, READING_LACKS
from models.figures.scope import Scope
from models.figures.strata import is_conclusive, stratify


def more_tests_by_stratum(swaps: pd.DataFrame) -> pd.DataFrame:
    """What a tag and a rated make point would add to the tests, per stratum of the good-switch rate.

    swaps: as models.figures.strata.swaps_for_rate gives. Returns DataFrame[stratum, more_by_tag, more_by_rating], in the
    order of GoodSwitch.strata: clear tests more, if untagged switches were tested as often, with as many clear results, as
    tagged ones of their stratum; and if tests without a rated make point were as often clear as those with one.
    """
    columns = ["stratum", "more_by_tag", "more_by_rating"]
    if swaps.empty:
        return pd.DataFrame(columns=columns)
    tagged, clear = swaps["has_tag"].to_numpy(bool), is_conclusive(swaps)
    lacks = swaps["lacks_rating"].to_numpy(bool)
    is_judged = swaps["verdict"].notna().to_numpy(bool) & ~lacks
    frame = pd.DataFrame(
        {"stratum": stratify(swaps), "tagged": tagged, "clear_tagged": tagged & clear, "untagged": ~tagged,
         "clear_untagged": ~tagged & clear, "lacks": lacks}
    )  # fmt: skip
    out = frame.groupby("stratum", sort=True).sum().astype(float)
    overall = out["clear_tagged"].sum() / max(out["tagged"].sum(), 1.0)
    often = (out["clear_tagged"] / out["tagged"].where(out["tagged"] > 0)).fillna(overall)
    out["more_by_tag"] = (often * out["untagged"] - out["clear_untagged"]).clip(lower=0)
    out["more_by_rating"] = out["lacks"] * (clear & is_judged).sum() / max(is_judged.sum(), 1)
    return out.reset_index()[columns]


def lacking(con: duckdb.DuckDBPyConnection, scope: Scope) -> dict[str, int]:
    """Counts over the scope.

    Keys: n_removed_tag, n_reading, n_make_point (lack it; of n_swaps), n_cause, n_appliance (of n_faults);
    n_swaps_without_code, n_swaps_with_cause (a root cause, of those with a code), n_not_supported of n_decided (swaps whose
    readings decide), n_rated_decided (of them with a make point) of n_read_rated (with a reading and a make point),
    n_read_without_make, n_not_read, n_not_before, n_no_contacts (parts of n_reading), n_uncertain (swaps with an uncertain callback) and n_uncertain_appliance (for want of the appliance).
    """
    swap_condition, swap_values = scope.where("swapped_on")
    swaps = _row(
        con,
        f"""
        SELECT count(*) AS n_swaps, count(*) FILTER (lacks_tag) AS n_removed_tag,
            count(*) FILTER (lacks_reading) AS n_reading, count(*) FILTER (lacks_make) AS n_make_point,
            count(*) FILTER (cause_code IS NULL) AS n_swaps_without_code,
            count(*) FILTER (cause_code IS NOT NULL AND has_root_cause) AS n_swaps_with_cause,
            count(*) FILTER (evidence = 'condemnation_not_supported') AS n_not_supported,
            count(*) FILTER (is_decided) AS n_decided,
            count(*) FILTER (NOT is_decided AND NOT lacks_reading AND lacks_make) AS n_read_without_make,
            count(*) FILTER (is_decided AND NOT lacks_make) AS n_rated_decided,
            count(*) FILTER (NOT lacks_reading AND NOT lacks_make) AS n_read_rated
        FROM (SELECT *, {LACKS["removed_tag"]} AS lacks_tag, {LACKS["reading"]} AS lacks_reading,
                {LACKS["make_point"]} AS lacks_make,
                coalesce(evidence IN ('condemnation_not_supported', 'switch_shown_faulty'), false) AS is_decided
            FROM swap_case WHERE {swap_condition})""",
        swap_values,
    )
    condition, values = scope.where("arrived_on")
    faults = _row(
        con,
        f"""
        SELECT count(*) AS n_faults, count(*) FILTER ({LACKS["appliance"]}) AS n_appliance,
            count(*) FILTER ({LACKS["cause"]}) AS n_cause
        FROM (SELECT f.*, r.cause_code FROM draft_fault f LEFT JOIN root_cause r USING (draft_fault_id)) WHERE {condition}
        """,
        values,
    )
    condition, values = scope.where("starts_on", ("branch",), "c.")
    unclear = _row(
        con,
        f"""
        SELECT count(*) AS n_uncertain, count(*) FILTER (c.reason LIKE '%appliance not proven%') AS n_uncertain_appliance
        FROM callback c WHERE c.swap_id IS NOT NULL AND c.callback_days IS NULL AND c.possible_callback_days IS NOT NULL
            AND {condition}""",
        values,
    )
    halves = _row(
        con,
        f"""SELECT {", ".join(f"count_if(e.{test}) AS n_{name}" for name, test in READING_LACKS.items())}
        FROM (SELECT draft_fault_id FROM swap_case WHERE {swap_condition}) s JOIN field_evidence e USING (draft_fault_id)""",
        swap_values,
    )
    return {**swaps, **halves, **faults, **unclear}


def _row(con: duckdb.DuckDBPyConnection, query: str, values: list[Any]) -> dict[str, int]:
    cursor = con.execute(query, values)
    names = [column[0] for column in cursor.description or ()]
    return {name: int(value or 0) for name, value in zip(names, cursor.fetchone() or (), strict=True)}
