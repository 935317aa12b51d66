"""What testing removed switches costs, and what it brought."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import duckdb
import numpy as np

from models.figures.costs import Costs, swap_costs
from models.figures.scope import Scope
from models.figures.waste import Waste
from models.methods.estimate import Estimate, unknown
from models.methods.numeral import numeral

COST_METHOD = "tests times minutes times the labour rate"
CREDIT_METHOD = "credits received for swaps whose removed switch was tested"
NARROWING_METHOD = "the range without any test, less the range of known and estimated together"


@dataclass(frozen=True)
class BenchProgramme:
    """Money in `currency`, over the swaps of a scope.

    n_tests: bench tests that can be tied to a swap of the scope (a switch tested twice counts twice); n_tested: switches
    tested; n_untied: tests of the whole store that fit no swap, in no figure here. cost: of n_tests, unknown without a
    labour rate. found: swaps of switches the bench found good, at what they cost (models.figures.waste: known).
    credit: received for swaps of tested switches; n_paid, n_refused, n_open of their claims, and the same over swaps of
    switches not tested (n_paid_untested, n_refused_untested, n_open_untested) in `claims`.
    without, with_tests: the lowest and the highest that swaps of good switches can have cost, before and after testing;
    None where not known. narrowing: how much narrower the second is. assumption: the minutes and the rate, or what is
    missing. Nothing here says that a test caused a credit: tested switches are not a fair draw of all.
    """

    n_tests: int
    n_tested: int
    n_untied: int
    minutes: float
    cost: Estimate
    found: Estimate
    credit: Estimate
    claims: dict[str, int]
    without: tuple[float, float] | None
    with_tests: tuple[float, float] | None
    narrowing: Estimate
    assumption: str
    currency: str


def bench_programme(con: duckdb.DuckDBPyConnection, scope: Scope, settings: Any, waste: Waste) -> BenchProgramme:
    """Cost and return of the bench tests over the scope. waste: models.figures.waste of the same scope and settings."""
    costs = swap_costs(con, scope, settings)
    condition, values = scope.where("swapped_on")
    n_tests, n_tested = con.execute(
        "SELECT count(*), count(DISTINCT swap_id) FROM bench_match "
        f"SEMI JOIN (SELECT swap_id FROM swap_case WHERE {condition}) AS s USING (swap_id)",
        values,
    ).fetchone()  # type: ignore[misc]
    n_untied = con.execute(
        "SELECT count(*) FROM bench_test WHERE bench_test_id NOT IN (SELECT bench_test_id FROM bench_match)"
    ).fetchone()[0]  # type: ignore[index]
    without, with_tests, narrowing = _narrowing(costs, waste)
    cost, assumption = _cost(int(n_tests), settings)
    credit, claims = _credit(costs)
    return BenchProgramme(
        int(n_tests), int(n_tested), int(n_untied), float(settings.bench_test_minutes), cost, waste.known, credit, claims,
        without, with_tests, narrowing, assumption, costs.currency,
    )  # fmt: skip


def _cost(n_tests: int, settings: Any) -> tuple[Estimate, str]:
    minutes, rate = float(settings.bench_test_minutes), settings.labour_cost_per_hour
    if rate is None:
        missing = "No labour rate was given: enter labour_cost_per_hour in the settings."
        return unknown(missing, n_tests, None, COST_METHOD), missing
    assumption = (
        f"Assumed: {minutes:.0f} minutes for a test (bench_test_minutes in the settings) at {numeral(float(rate), ',.2f')} "
        f"{settings.currency} an hour. The gauge and the bench themselves are not counted."
    )
    total = n_tests * minutes / 60 * float(rate)
    return Estimate(total, total, total, n_tests, None, COST_METHOD), assumption


def _credit(costs: Costs) -> tuple[Estimate, dict[str, int]]:
    swaps = costs.swaps
    is_tested = swaps["verdict"].notna().to_numpy(bool)
    claims = {
        f"n_{outcome}{ending}": int((part["claim_outcome"] == outcome).sum())
        for ending, part in (("", swaps[is_tested]), ("_untested", swaps[~is_tested]))
        for outcome in ("paid", "refused", "open")
    }
    n_paid = claims["n_paid"]
    # A credit in another currency, or without its amount, is none that can be added up.
    if n_paid and not (swaps.loc[is_tested, "credit_received"] > 0).any():
        return unknown("What was credited is not on record in this currency.", n_paid, None, CREDIT_METHOD), claims
    total = float(swaps.loc[is_tested, "credit_received"].sum())
    return Estimate(total, total, total, n_paid, None, CREDIT_METHOD), claims


def _narrowing(costs: Costs, waste: Waste) -> tuple[tuple[float, float] | None, tuple[float, float] | None, Estimate]:
    """Before any test each switch may have been good or not: swaps of good ones cost between none and all of it."""
    swaps = costs.swaps
    n = len(swaps)
    if not n or not swaps["has_cost"].any():
        why = waste.estimated.sentence or waste.known.sentence or "No switch has been swapped yet."
        return None, None, unknown(why, n, None, NARROWING_METHOD)
    cost = swaps["cost"].to_numpy(float)
    without = (float(np.minimum(cost, 0).sum()), float(np.maximum(cost, 0).sum()))
    known, estimated = waste.known, waste.estimated
    if known.value is None or estimated.low is None or estimated.high is None:
        why = known.sentence if known.value is None else estimated.sentence
        return without, None, unknown(why, n, None, NARROWING_METHOD)
    with_tests = (known.value + estimated.low, known.value + estimated.high)
    width = (without[1] - without[0]) - (with_tests[1] - with_tests[0])
    return without, with_tests, Estimate(width, width, width, n, None, NARROWING_METHOD)
