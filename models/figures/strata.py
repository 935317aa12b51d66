"""The strata of the good-switch rate: what was known of a removed switch before anyone tested it."""

from __future__ import annotations

from typing import Any

import duckdb
import numpy as np
import pandas as pd

from models.figures.scope import Scope
from models.methods.numeral import numeral
from models.methods.strata import merge_thin_strata

# Coarse to fine: the first keys hold longest when strata are thin.
STRATUM_KEYS = ("evidence", "cause", "returned", "branch", "season")
MINIMUM_TESTED = 5
# A class of evidence or a branch this large (share of all swaps, and swaps) must have been tested itself.
LARGE_SHARE = 0.05
LARGE_COUNT = 100
RULE = (
    "Strata: field evidence, recorded cause, whether it came back before it could be tested, branch, season. A stratum "
    f"with fewer than {MINIMUM_TESTED} tested switches, or under 2% tested, is pooled with its like: first over seasons, "
    "then branches, then whether it came back, then causes, then evidence; where unlike switches are pooled, each tested "
    "one counts by how many like it there are. The rule looks at counts only, never at results. Tests of switches that "
    "were drained, dropped or late are left out here, since they can show a fault but never a good switch."
)


def swaps_for_rate(con: duckdb.DuckDBPyConnection, scope: Scope, settings: Any) -> pd.DataFrame:
    """One row per swap of the scope with its stratum keys, ordered by swap_id.

    Returns DataFrame[swap_id, technician_id (who diagnosed), part_number, swapped_on, week_on, month, returned,
    evidence,
    cause, branch, season, verdict, selection, selection_probability, is_returned_only, is_spoiled (drained, dropped or
    tested late), has_tag, lacks_rating (tested, but without a rated make point to judge by)].
    `cause` is the tier when the visit closed (the final tier may rest on the bench test itself), and whether the switch
    was blamed. A switch tested only
    because it came back, without a callback on
    record, has no like among the untested: it is marked and counted apart.
    """
    condition, values = scope.where("swapped_on", prefix="s.")
    return con.execute(
        f"""
        WITH chosen AS (FROM swap_case s WHERE {condition})
        SELECT s.swap_id, s.diagnosed_by AS technician_id, s.part_number, s.swapped_on, s.week_on, s.month,
            CASE WHEN c.possible_callback_days <= ? THEN 'came back' ELSE 'not returned' END AS returned,
            coalesce(s.evidence, 'no_reading') AS evidence,
            coalesce(s.tier_at_close, 'none')
                || CASE WHEN s.cause_group = 'switch_itself' THEN ', switch blamed' ELSE '' END AS cause,
            coalesce(s.branch, '') AS branch, s.season, s.verdict, s.selection, s.selection_probability,
            coalesce(s.selection = 'returned_only', false) AND c.possible_callback_days IS NULL AS is_returned_only,
            coalesce(b.handling IN ('drained', 'dropped'), false)
                OR coalesce(b.tested_at > s.swapped_at + to_days(CAST(? AS INTEGER)), false) AS is_spoiled,
            s.removed_tag IS NOT NULL AS has_tag,
            coalesce(s.verdict = 'inconclusive' AND b.rated_make_pa IS NULL AND b.n_make_readings > 0, false)
                AS lacks_rating
        FROM chosen s LEFT JOIN bench_result b USING (swap_id) LEFT JOIN (
            SELECT swap_id, min(possible_callback_days) AS possible_callback_days
            FROM callback SEMI JOIN chosen USING (swap_id) GROUP BY swap_id) c USING (swap_id)
        ORDER BY s.swap_id""",
        [*values, int(settings.maximum_days_to_bench), int(settings.maximum_days_to_bench)],
    ).df()


def is_conclusive(swaps: pd.DataFrame) -> np.ndarray:
    """Which swaps count as tested: a clear bench result of a test that could have come out either way.

    A switch drained, dropped or tested late can be faulty but never good: counting only its faulty results would lean.
    Nor does one count that was tested only because it came back, without a callback on record.
    """
    is_left_out = swaps["is_returned_only"].astype(bool) | swaps["is_spoiled"].astype(bool)
    return (swaps["verdict"].isin(["good", "faulty"]) & ~is_left_out).to_numpy(bool)


def drawing_chance(swaps: pd.DataFrame) -> np.ndarray:
    """The recorded probability of each randomly drawn switch, shape (n_swaps,); NaN for others or without a valid one."""
    chance = pd.to_numeric(swaps["selection_probability"]).to_numpy(float, na_value=np.nan)
    is_valid = (swaps["selection"] == "random").to_numpy(bool, na_value=False) & (chance > 0) & (chance <= 1)
    return np.where(is_valid, chance, np.nan)


def stratify(
    swaps: pd.DataFrame, keys: tuple[str, ...] = STRATUM_KEYS, minimum_tested: int = MINIMUM_TESTED
) -> np.ndarray:
    """Stratum label per swap, shape (n_swaps,), thin ones merged by RULE."""
    codes, names = zip(*(coded(swaps[key]) for key in keys), strict=True)
    # Work on cells, not on swaps: there are few of them.
    shape = tuple(len(name) for name in names)
    cell, row = np.unique(np.ravel_multi_index(codes, shape) if len(swaps) else np.empty(0, int), return_inverse=True)
    tested = np.bincount(row, weights=is_conclusive(swaps), minlength=cell.size)
    total = np.bincount(row, minlength=cell.size)
    keys_of_cell = [name[code] for name, code in zip(names, np.unravel_index(cell, shape), strict=True)]
    labels = merge_thin_strata(keys_of_cell, tested, total, minimum_tested=minimum_tested)
    return labels[row]


def coded(column: pd.Series) -> tuple[np.ndarray, np.ndarray]:
    """A stratum key as numbers, shape (n_rows,), and the text each stands for; missing is blank text."""
    code, found = pd.factorize(column)
    name = pd.Series(found).astype("string").fillna("").to_numpy(dtype=object)
    return np.where(code < 0, len(name), code), np.append(name, "")


def untested_class(swaps: pd.DataFrame, minimum_rate: float) -> str | None:
    """Words naming a large class of evidence or a large branch hardly anyone tested, or None.

    Pooling would hide such a gap: the pool would speak for switches of which none was ever on the bench.
    """
    tested = is_conclusive(swaps)
    for key, words in (("evidence", "with field evidence"), ("branch", "of branch")):
        count = (
            pd.DataFrame({"key": swaps[key].to_numpy(), "tested": tested}).groupby("key")["tested"].agg(["size", "sum"])
        )
        is_large = (count["size"] >= LARGE_COUNT) & (count["size"] >= LARGE_SHARE * len(swaps))
        thin = count[is_large & (count["sum"] < minimum_rate * count["size"])]
        if len(thin):
            name, row = thin.index[0], thin.iloc[0]
            shown = str(name).replace("_", " ") or "not recorded"
            return (
                f"only {row['sum']:.0f} of {numeral(row['size'])} switches {words} '{shown}' have a clear bench result"
            )
    return None
