"""With whom to look first: good switches pulled per draft-fault visit, against what the case mix expects."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import duckdb
import numpy as np
import pandas as pd
from numpy.typing import NDArray

from models.figures.pulls import Pulls, good_pulls
from models.figures.scope import Scope
from models.figures.steps import process_rates, step_rates
from models.methods.beta_mixture import mixture_cdf, pooled_mean, pooled_quantile
from models.methods.null_draws import null_grid
from models.methods.numeral import numeral
from models.methods.shrinkage import (
    METHOD,
    Null,
    fit_null,
    funnel_limits,
    posterior,
    select_by_local_fdr,
    smallest_detectable_excess,
)
from models.misdiagnosis.scores import Scores

NEW_STARTER_DAYS = 365
# A technician whose cases lie this much at one site, which is this much theirs, cannot be told from the site.
NOT_SEPARABLE_SHARE = 0.8
N_IMPUTATIONS = 20
# With so many, how likely a null is hardly differs between imputations: it is worked out for the first, and moved.
MANY_TECHNICIANS = 500
FAIRNESS = "Look here first; for coaching only, never for pay or discipline."


@dataclass(frozen=True)
class TechnicianFigures:
    """Technicians side by side, never ranked.

    table: one row per technician who attended a draft fault, ordered by technician_id: technician_id, technician_name,
    branch, draft_fault_visits, swaps, tested, n_good, observed (draft faults on which a good switch was pulled;
    fractions
    where not tested), observed_rate, expected (count), expected_rate (of like cases, cross-fitted, or of the middle of
    the fleet, the larger of the two), value, low, high (shrunken rate of good switches
    pulled per draft-fault visit), probability_above (of exceeding the expected rate by the margin), is_flagged, reason,
    share_good_among_swaps, swaps_per_draft_fault, is_new_starter, is_start_known (a first day is on record),
    has_minimum, smallest_visible_excess, is_separable,
    and
    process rates over n_process swaps: reading_rate (gauge reading of the draft, before or after the repair), checks_rate (at least 3 checks
    done),
    cause_rate (root cause recorded), after_reading_rate (reading after the repair), note_rate (a note of 20
    characters).
    NaN = not known. Without a model of untested switches the outcome columns are NaN and nobody is flagged.
    steps: DataFrame[technician_id, step, n, n_done, rate, company_rate] per check code, on draft faults with a swap.
    null: {'rate', 'shift', 'overdispersion', 'n_technicians', 'n_central', 'method'}. funnel: DataFrame[n, low_95,
    high_95, low_998,
    high_998], shares around the mean. processes: DataFrame[step, n, n_done, rate] company-wide. sentence: in words.
    """

    table: pd.DataFrame
    steps: pd.DataFrame
    null: dict[str, Any]
    funnel: pd.DataFrame
    processes: pd.DataFrame
    sentence: str


def technicians(
    con: duckdb.DuckDBPyConnection,
    scope: Scope,
    settings: Any,
    scores: Scores,
    rng: np.random.Generator,
    pulls: Pulls | None = None,
) -> TechnicianFigures:
    """Technicians over the scope. scores: from models.misdiagnosis.scores.

    pulls: good_pulls of the scope, where they have been worked out already.

    Untested switches are drawn good or faulty by their probability (20 imputations, the model of single switches drawn
    anew for each); each takes a null of its own as its counts leave it likely; the posteriors are pooled. Flags:
    select_by_local_fdr among technicians with the minimum of cases who are no new starters and can be told from their
    site.
    """
    pulls = good_pulls(con, scope, scores) if pulls is None else pulls
    table = _table(con, scope, settings, pulls)
    steps, company = step_rates(con, scope)
    table = table.merge(process_rates(con, scope), on="technician_id", how="left")
    table["n_process"] = table["n_process"].fillna(0).astype("int64")
    null, funnel = _compare(table, pulls, settings, rng)
    return TechnicianFigures(table, steps, null, funnel, company, _sentence(table, scores))


def _table(con: duckdb.DuckDBPyConnection, scope: Scope, settings: Any, pulls: Pulls) -> pd.DataFrame:
    table = pulls.by_technician()
    about = con.execute("SELECT technician_id, technician_name, branch, started_on FROM technician").df()
    table = table.merge(about.drop_duplicates("technician_id"), on="technician_id", how="left")
    last_on = con.execute("SELECT max(arrived_on) FROM visit").fetchone()[0]  # type: ignore[index]
    started = pd.to_datetime(table.pop("started_on"))
    table["is_new_starter"] = (
        (started > pd.Timestamp(last_on) - pd.Timedelta(days=NEW_STARTER_DAYS)).fillna(False).astype(bool)
    )
    table["is_start_known"] = started.notna().to_numpy(bool)
    table["has_minimum"] = table["draft_fault_visits"] >= int(settings.minimum_cases)
    table["is_separable"] = ~table["technician_id"].isin(_tied_to_one_site(con, scope))
    return table


def _tied_to_one_site(con: duckdb.DuckDBPyConnection, scope: Scope) -> list[str]:
    condition, values = scope.where("arrived_on")
    rows = con.execute(
        f"""
        WITH pair AS (SELECT technician_id, site_id, count(*) AS n FROM draft_fault WHERE {condition} GROUP BY ALL),
        shared AS (
            SELECT technician_id, n / sum(n) OVER (PARTITION BY technician_id) AS of_technician,
                n / sum(n) OVER (PARTITION BY site_id) AS of_site FROM pair)
        SELECT DISTINCT technician_id FROM shared WHERE of_technician >= ? AND of_site >= ? ORDER BY technician_id""",
        [*values, NOT_SEPARABLE_SHARE, NOT_SEPARABLE_SHARE],
    ).fetchall()
    return [row[0] for row in rows]


def _compare(
    table: pd.DataFrame, pulls: Pulls, settings: Any, rng: np.random.Generator
) -> tuple[dict[str, Any], pd.DataFrame]:
    """Fill in the comparison columns of the table, in place; return the null and the funnel."""
    columns = ("expected", "expected_rate", "value", "low", "high", "probability_above", "smallest_visible_excess")
    for column in columns:
        table[column] = np.nan
    table["is_flagged"] = False
    empty = pd.DataFrame(columns=["n", "low_95", "high_95", "low_998", "high_998"], dtype=float)
    if not pulls.is_available or table.empty:
        # A count of no known good switch is not a count of none.
        table[["observed", "observed_rate"]] = np.nan
        table["reason"] = "Too few bench results to compare outcomes; see the steps taken instead."
        return {}, empty
    n = table["draft_fault_visits"].to_numpy(float)
    rate = np.clip(table.pop("case_mix_rate").to_numpy(float), 1e-6, 1 - 1e-6)
    table["expected_rate"] = rate
    nulls, averaged = _impute(pulls, n, rate, float(settings.flag_margin), rng)
    middle = _average_null(nulls)
    for name, values in averaged.items():
        table[name] = values
    table["expected"] = n * table["expected_rate"]
    table["smallest_visible_excess"] = _visible(n, rate, middle, settings)
    eligible = (table["has_minimum"] & ~table["is_new_starter"] & table["is_separable"]).to_numpy(bool)
    above = table["probability_above"].to_numpy(float)
    table["is_flagged"] = select_by_local_fdr(above, float(settings.false_discovery_limit), eligible)
    table["reason"] = _reasons(table, settings)
    mean_rate = float((pulls.expected * pulls.chance_left()).mean())
    return _null_words(middle, mean_rate), _funnel(n, mean_rate, middle)


def _impute(
    pulls: Pulls, n: NDArray, rate: NDArray, margin: float, rng: np.random.Generator
) -> tuple[list[Null], dict[str, NDArray]]:
    """The null of each imputation, and the comparison columns: the imputations' posteriors side by side.

    Each imputation draws the untested switches, then a null as its counts leave it likely: what is known of neither
    is in the range.
    """
    nulls: list[Null] = []
    above, expected = (np.zeros((N_IMPUTATIONS, n.size)) for _ in range(2))
    weight, a, b, scale = (np.zeros((N_IMPUTATIONS, 2, n.size)) for _ in range(4))
    places = rng.permutation((np.arange(N_IMPUTATIONS) + 0.5) / N_IMPUTATIONS)
    left = pulls.rate_left()
    for m in range(N_IMPUTATIONS):
        hits, faulty = pulls.draw_both(rng, m)
        nulls.append(fit_null(hits, n, rate))
        # Where the switch itself was at fault no good one could be pulled: nobody chooses how many such calls they get.
        cases = n - faulty
        fitted = fit_null(hits, cases, left)
        if m == 0 or n.size < MANY_TECHNICIANS:
            grid = null_grid(hits, cases, left, fitted)
        null = fitted if grid is None else grid.around(fitted).draw(rng, float(places[m]))
        middle, wide, parts = posterior(hits, cases, left, null)
        share = np.maximum(cases, 0.5) / n
        # The benchmark is the case mix's average or the middle of the fleet, whichever asks less of a technician.
        expected[m] = np.maximum(middle, left) * share
        above[m] = 1 - mixture_cdf((expected[m] + margin) / share, wide, parts)
        weight[m], a[m], b[m], scale[m] = (1 - wide, wide), parts[0::2], parts[1::2], share
    weight /= N_IMPUTATIONS
    pooled = [part.reshape(-1, n.size) for part in (weight, a, b, scale)]
    return nulls, {
        "probability_above": above.mean(axis=0),
        "expected_rate": expected.mean(axis=0),
        "value": pooled_mean(*pooled),
        "low": pooled_quantile(0.025, *pooled),
        "high": pooled_quantile(0.975, *pooled),
    }


def _average_null(nulls: list[Null]) -> Null:
    first = nulls[0]
    return Null(
        float(np.mean([null.shift for null in nulls])),
        float(np.mean([null.overdispersion for null in nulls])),
        float(np.mean([null.wide_weight for null in nulls])),
        first.n_units,
        int(np.median([null.n_central for null in nulls])),
        first.is_fitted,
    )


def _visible(n: NDArray, rate: NDArray, null: Null, settings: Any) -> NDArray:
    """Worked out once for like numbers of cases (two digits) and like expected rates (nearest .05)."""
    size = np.maximum(n, 1)
    digits = 10.0 ** np.maximum(np.floor(np.log10(size)) - 1, 0)
    rounded = np.minimum(np.round(size / digits) * digits, 2000)
    like = np.clip(np.round(rate * 20) / 20, 0.02, 0.95)
    margin, limit = float(settings.flag_margin), float(settings.false_discovery_limit)
    out = np.full(n.size, np.nan)
    for level in np.unique(like):
        mine = like == level
        sizes, back = np.unique(rounded[mine], return_inverse=True)
        # Measured from the benchmark, which lies this far above the null.
        gap = max(float(level) - float(null.mean(level)), 0.0)
        out[mine] = (smallest_detectable_excess(sizes, level, null, margin + gap, limit) - gap)[np.ravel(back)]
    return out


def _reasons(table: pd.DataFrame, settings: Any) -> list[str]:
    out = []
    for row in table.itertuples(index=False):
        start = (
            f"Good switches pulled on about {numeral(row.observed, '.1f')} of {numeral(row.draft_fault_visits)} draft faults; "
            f"{numeral(row.expected, '.1f')} expected from like cases."
        )
        if row.is_flagged:
            out.append(f"{start} {FAIRNESS}")
        elif row.is_new_starter:
            out.append(f"{start} New starter: shown apart.")
        elif not row.is_separable:
            out.append(f"{start} Not separable from the one site.")
        elif not row.has_minimum:
            out.append(f"{start} Under {int(settings.minimum_cases)} cases: too few to say.")
        else:
            out.append(f"{start} Within what chance and case mix can do.")
    return out


def _null_words(null: Null, rate: float) -> dict[str, Any]:
    return {
        "rate": float(null.mean(rate)),
        "shift": null.shift,
        "overdispersion": null.overdispersion,
        "n_technicians": null.n_units,
        "n_central": null.n_central,
        "method": METHOD,
    }


def _funnel(n: NDArray, rate: float, null: Null) -> pd.DataFrame:
    size = np.unique(np.round(np.geomspace(1, max(float(n.max()), 2), 80)).astype(int))
    low, high = funnel_limits(size, rate, null, 0.95)
    lowest, highest = funnel_limits(size, rate, null, 0.998)
    return pd.DataFrame({"n": size, "low_95": low, "high_95": high, "low_998": lowest, "high_998": highest})


def _sentence(table: pd.DataFrame, scores: Scores) -> str:
    if table.empty:
        return "No draft faults on record yet."
    if not scores.is_available:
        return f"Outcomes are not compared: {scores.sentence}"
    n = int(table["is_flagged"].sum())
    compared = int((table["has_minimum"] & ~table["is_new_starter"] & table["is_separable"]).sum())
    who = "nobody stands out" if n == 0 else f"look first at {n}"
    return f"Of {compared} technicians with enough cases, {who}, beyond case mix and chance."
