"""What avoidable swaps cost."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import duckdb
import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import special

from models.figures.costs import Costs, swap_costs, why_without_cost
from models.figures.good_switch import good_switch_rate
from models.figures.pulls import Pulls, good_pulls
from models.figures.scope import Scope
from models.figures.waste_sentences import with_estimated_sentence, with_known_sentence, with_what_if_sentence
from models.methods.best_quarter import excess_of_imputations
from models.methods.estimate import Estimate, unknown
from models.methods.numeral import numeral
from models.misdiagnosis.scores import Scores

N_DRAWS = 400
N_IMPUTATIONS = 40
KNOWN_METHOD = "bench-good switches at their cost"
ESTIMATED_METHOD = "probability times cost, simulated"
GROUPS = {"by_branch": "branch", "by_part": "part_number", "by_technician": "technician_id", "by_month": "month_on"}


@dataclass(frozen=True)
class Waste:
    """Money, in `currency`.

    known: switches the bench found good (n: how many; coverage: share of the swaps with a clear bench result), unknown
    without a clear result or without any cost. estimated: probability x cost over switches without a clear bench result.
    by_branch, by_part, by_technician, by_month: DataFrame[key, n_swaps, n_good, expected_good, known, estimated, low,
    high]
    with key = branch, part_number, technician_id (who diagnosed), month_on (first of the month); low, high: of
    estimated. known is NaN in a group without a clear bench result.
    parts: {'part', 'labour', 'trip', 'callbacks', 'credit_received'} amounts within known + estimated (credit is
    taken off); NaN where neither is known.
    assumptions: sentences naming every rate that is missing, assumed or typed by the user.
    what_if: saving per year if nobody's rate of good pulls were above the best quarter's, with its interval.
    credit: {'n_paid', 'n_refused', 'n_open', 'credited'} over all swaps.
    in_sentences: {'n_without_part', 'expected_good'}, counts that stand only in the sentences of known and estimated
    (models.figures.waste_sentences).
    """

    known: Estimate
    estimated: Estimate
    by_branch: pd.DataFrame
    by_part: pd.DataFrame
    by_technician: pd.DataFrame
    by_month: pd.DataFrame
    parts: dict[str, float]
    assumptions: list[str]
    what_if: Estimate
    credit: dict[str, Any]
    currency: str
    in_sentences: dict[str, float]


def waste(
    con: duckdb.DuckDBPyConnection,
    scope: Scope,
    settings: Any,
    scores: Scores,
    rng: np.random.Generator,
    pulls: Pulls | None = None,
) -> Waste:
    """Parts waste over the scope. What a swap costs: see models.figures.costs.

    pulls: good_pulls of the scope, where they have been worked out already.
    Without a model of single swaps, every untested switch takes the adjusted good-switch rate with its range.
    """
    costs, open_part, probability, assumption = _spent(con, scope, settings, scores, rng)
    frame, is_open, cost = costs.swaps, open_part.is_open, costs.swaps["cost"].to_numpy(float)
    is_good = (frame["verdict"] == "good").to_numpy(bool)
    groups = {
        name: _grouped(key, frame, is_good, probability, cost, open_part, pd.factorize(frame[key], sort=True))
        for name, key in GROUPS.items()
    }
    share = {
        part: frame[part].to_numpy(float) * probability
        for part in ("part", "labour", "trip", "callbacks", "credit_received")
    }
    return Waste(
        known=_known(frame, is_good, cost, costs),
        estimated=_estimated(frame, is_open, probability, open_part, costs, assumption),
        parts={part: _summed(amount, _is_told(part, costs)) for part, amount in share.items()},
        assumptions=costs.assumptions + _left_out(con, scope) + ([assumption] if assumption else []),
        what_if=_what_if(con, settings, good_pulls(con, scope, scores) if pulls is None else pulls, costs, rng),
        credit=costs.credit,
        currency=costs.currency,
        in_sentences={
            "n_without_part": _n_without_part(frame[is_good]),
            "expected_good": _expected_good(is_open, probability),
        },
        **groups,
    )


def estimated_waste(
    con: duckdb.DuckDBPyConnection, scope: Scope, settings: Any, scores: Scores, rng: np.random.Generator
) -> Estimate:
    """Waste.estimated by itself, the same to the last digit; for what needs no more of it. Arguments as for `waste`."""
    costs, open_part, probability, assumption = _spent(con, scope, settings, scores, rng)
    return _estimated(costs.swaps, open_part.is_open, probability, open_part, costs, assumption)


@dataclass(frozen=True)
class _Open:
    """Switches without a clear result: draws of what they cost. sd_below, sd_above: of the logit, on either side of it."""

    cost: NDArray
    logit: NDArray
    sd_below: NDArray
    sd_above: NDArray
    is_open: NDArray
    shocks: NDArray
    noise: NDArray

    def draws(self, code: NDArray, n_groups: int) -> NDArray[np.float64]:
        """Estimated waste per group and draw, shape (N_DRAWS, n_groups). One draw moves all logits by the model's error."""
        out = np.zeros((N_DRAWS, n_groups))
        mine = self.is_open & (code >= 0)
        cost, logit, group = self.cost[mine], self.logit[mine], code[mine]
        # 40 levels of the model's error are enough; the draws take the nearest.
        levels = np.linspace(-2.5, 2.5, 41)
        nearest = np.abs(self.shocks[:, None] - levels).argmin(axis=1)
        for k in np.unique(nearest):
            sd = self.sd_below if levels[k] < 0 else self.sd_above
            p = special.expit(logit + levels[k] * sd[mine])
            mean = np.bincount(group, weights=cost * p, minlength=n_groups)
            chance = np.sqrt(np.bincount(group, weights=cost**2 * p * (1 - p), minlength=n_groups))
            rows = nearest == k
            out[rows] = mean + self.noise[rows][:, None] * chance
        # Chance cannot make them cost more than all of them together, nor less than their credits.
        most, least = (
            np.bincount(group, weights=edge(cost, 0), minlength=n_groups) for edge in (np.maximum, np.minimum)
        )
        return np.clip(out, least, most)


def _spent(
    con: duckdb.DuckDBPyConnection, scope: Scope, settings: Any, scores: Scores, rng: np.random.Generator
) -> tuple[Costs, _Open, NDArray, str]:
    """What the swaps cost, those without a clear result, the probability that each switch was good, what was assumed."""
    costs = swap_costs(con, scope, settings)
    frame = costs.swaps
    logit, sd_below, sd_above, assumption = _probabilities(con, scope, settings, scores, frame)
    is_open = ~frame["verdict"].isin(["good", "faulty"]).to_numpy(bool)
    is_good = (frame["verdict"] == "good").to_numpy(float)
    cost = frame["cost"].to_numpy(float)
    shocks, noise = rng.standard_normal(N_DRAWS), rng.standard_normal(N_DRAWS)
    open_part = _Open(cost * is_open, logit, sd_below, sd_above, is_open, shocks, noise)
    return costs, open_part, np.where(is_open, special.expit(logit), is_good), assumption


def _probabilities(
    con: duckdb.DuckDBPyConnection, scope: Scope, settings: Any, scores: Scores, frame: pd.DataFrame
) -> tuple[NDArray, NDArray, NDArray, str]:
    """Logit per swap, its standard error below and above, and what had to be assumed (blank = nothing). NaN: not known."""
    if scores.is_available:
        row = scores.rows_of(frame["swap_id"])
        logit, sd = (
            np.where(row >= 0, scores.swap_score[name].to_numpy(float)[row], np.nan) for name in ("logit", "logit_sd")
        )
        return logit, sd, sd, ""
    rate = good_switch_rate(con, scope, settings).adjusted
    if rate.value is None or rate.low is None or rate.high is None:
        nothing = np.full(len(frame), np.nan)
        return nothing, nothing, nothing, "No probability for untested switches: " + rate.sentence
    middle, low, high = special.logit(np.clip([rate.value, rate.low, rate.high], 0.001, 0.999))
    words = f"Every untested switch takes the adjusted rate of {rate.value:.0%}: there is no model of single swaps yet."
    # A rate of 0 or 100% has its range on one side only.
    below, above = (np.full(len(frame), (edge - middle) / z) for edge, z in ((low, -1.96), (high, 1.96)))
    return np.full(len(frame), middle), below, above, words


def _is_told(part: str, costs: Costs) -> bool:
    """Whether a part of the cost is known for any swap at all; labour and trips are by their rates."""
    if part == "part":
        return costs.swaps.empty or bool(costs.swaps["has_part_cost"].any())
    return part != "credit_received" or not np.isnan(costs.credit["credited"])


def _summed(amount: NDArray, is_told: bool) -> float:
    """The sum of what is known; NaN where nothing is."""
    return float("nan") if not is_told or (amount.size and np.isnan(amount).all()) else float(np.nansum(amount))


def _left_out(con: duckdb.DuckDBPyConnection, scope: Scope) -> list[str]:
    """What callbacks cannot be charged, because the swap does not say on which appliance."""
    condition, values = scope.where("swapped_on")
    n, n_unproven = con.execute(
        f"SELECT count(*), count(*) FILTER (appliance_key IS NULL) FROM swap_case WHERE {condition}", values
    ).fetchone()  # type: ignore[misc]
    if not n_unproven:
        return []
    return [
        f"{numeral(n_unproven)} of {numeral(n)} swaps do not say on which appliance; callbacks they led to are left out."
    ]


def _known(frame: pd.DataFrame, is_good: NDArray, cost: NDArray, costs: Costs) -> Estimate:
    if frame.empty:
        return unknown("No switch has been swapped yet.", method=KNOWN_METHOD)
    n_clear, n = int(frame["verdict"].isin(["good", "faulty"]).sum()), int(is_good.sum())
    coverage = n_clear / len(frame)
    if not n_clear:
        return unknown("No removed switch has a clear bench result yet.", 0, coverage, KNOWN_METHOD)
    good = frame[is_good]
    if n and not good["has_cost"].any():
        return unknown(why_without_cost(good, costs.currency), n, coverage, KNOWN_METHOD)
    total = float(cost[is_good].sum())
    found = Estimate(total, total, total, n, coverage, KNOWN_METHOD)
    return with_known_sentence(found, _n_without_part(good), costs.currency)


def _n_without_part(good: pd.DataFrame) -> int:
    return int((~good["has_part_cost"]).sum())


def _expected_good(is_open: NDArray, probability: NDArray) -> float:
    """How many of the switches without a clear result were good, by their probabilities."""
    return float(probability[is_open].sum())


def _estimated(
    frame: pd.DataFrame, is_open: NDArray, probability: NDArray, open_part: _Open, costs: Costs, assumption: str
) -> Estimate:
    n = int(is_open.sum())
    if frame.empty:
        return unknown("No switch has been swapped yet.", method=ESTIMATED_METHOD)
    if n and not frame.loc[is_open, "has_cost"].any():
        return unknown(why_without_cost(frame[is_open], costs.currency), n, n / len(frame), ESTIMATED_METHOD)
    if n and np.isnan(probability[is_open]).any():
        return unknown(assumption, n, n / len(frame), ESTIMATED_METHOD)
    total = float((open_part.cost * probability)[is_open].sum())
    low, high = np.quantile(open_part.draws(np.zeros(len(frame), dtype=int), 1)[:, 0], [0.025, 0.975])
    found = Estimate(total, min(low, total), max(high, total), n, n / len(frame), ESTIMATED_METHOD)
    return with_estimated_sentence(found, _expected_good(is_open, probability), costs.currency)


def _grouped(
    key: str, frame: pd.DataFrame, is_good: NDArray, probability: NDArray, cost: NDArray, open_part: _Open,
    groups: tuple[NDArray, Any],
) -> pd.DataFrame:  # fmt: skip
    code, names = groups
    k = len(names)
    mine = code >= 0

    def summed(weight: NDArray) -> NDArray:
        return np.bincount(code[mine], weights=weight[mine], minlength=k)

    out = pd.DataFrame({key: names})
    out["n_swaps"] = summed(np.ones(len(frame))).astype("int64")
    out["n_good"] = summed(is_good.astype(float)).astype("int64")
    out["expected_good"] = summed(probability * open_part.is_open)
    is_clear = (~open_part.is_open).astype(float)
    # A sum over swaps none of which has a cost is not nothing: it is not known.
    without = (~frame["has_cost"]).to_numpy(float)
    n_good, n_open = summed(is_good.astype(float)), summed(open_part.is_open.astype(float))
    known_lacks = (n_good > 0) & (summed(is_good * without) == n_good)
    open_lacks = (n_open > 0) & (summed(open_part.is_open * without) == n_open)
    out["known"] = np.where((summed(is_clear) > 0) & ~known_lacks, summed(cost * is_good), np.nan)
    out["estimated"] = np.where(open_lacks, np.nan, summed(open_part.cost * probability))
    draws = open_part.draws(code, k)
    out["low"], out["high"] = np.quantile(draws, [0.025, 0.975], axis=0) if k else (0.0, 0.0)
    out["low"] = np.where(open_lacks, np.nan, np.minimum(out["low"], out["estimated"]))
    out["high"] = np.where(open_lacks, np.nan, np.maximum(out["high"], out["estimated"]))
    return out


def _what_if(
    con: duckdb.DuckDBPyConnection, settings: Any, pulls: Pulls, costs: Costs, rng: np.random.Generator
) -> Estimate:
    """Saving a year if no technician's rate of good pulls were above that of the best quarter of technicians.

    By simulation: untested switches drawn by their probabilities, then true rates drawn from what the counts say of them.
    """
    method = "good pulls above the best quarter's rate, at the mean cost"
    table = pulls.by_technician()
    enough = (table["draft_fault_visits"] >= int(settings.minimum_cases)).to_numpy(bool)
    if not pulls.is_available or enough.sum() < 4:
        words = "No comparison of rates: it needs a model of single swaps and four technicians with enough cases."
        return unknown(words, int(enough.sum()), None, method)
    n = table["draft_fault_visits"].to_numpy(float)[enough]
    rate = np.clip(table["case_mix_rate"].to_numpy(float)[enough], 1e-6, 1 - 1e-6)
    priced = costs.swaps[costs.swaps["has_cost"]]
    if priced.empty:
        return unknown(why_without_cost(costs.swaps, costs.currency), int(enough.sum()), None, method)
    mean_cost = float(priced["cost"].mean())
    days = con.execute("SELECT greatest(max(arrived_on) - min(arrived_on), 1) FROM visit").fetchone()[0]  # type: ignore[index]
    imputed = (pulls.draw(rng)[enough] for _ in range(N_IMPUTATIONS))
    excess = excess_of_imputations(imputed, n, rate, rng, N_DRAWS // N_IMPUTATIONS)
    savings = excess.ravel() * mean_cost * 365.25 / days
    value = float(np.mean(savings))
    low, high = (float(edge) for edge in np.quantile(savings, [0.025, 0.975]))
    found = Estimate(value, low, high, int(enough.sum()), float(enough.mean()), method)
    return with_what_if_sentence(found, costs.currency)
