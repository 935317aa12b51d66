"""Figures in another currency: every amount times the rate, everything else as it was, what was given untouched."""

from __future__ import annotations

import copy
from collections.abc import Iterator
from dataclasses import fields, is_dataclass, replace
from typing import Any

import numpy as np
import pandas as pd
import pytest

from models.figures.bench_programme import bench_programme
from models.figures.converted import bench_programme_in, missing_in, waste_in
from models.figures.missing import FIELD_COLUMNS, FIGURE_COLUMNS, Missing
from models.figures.scope import Scope
from models.figures.waste import GROUPS, waste
from models.methods.numeral import canonical
from models.misdiagnosis.scores import score_swaps

RATE = 0.8
ESTIMATE = ("value", "low", "high")
WASTE_AMOUNTS = {
    *(f"{name}.{end}" for name in ("known", "estimated", "what_if") for end in ESTIMATE),
    *(f"{name}.{column}" for name in GROUPS for column in ("known", "estimated", "low", "high")),
    *(f"parts.{name}" for name in ("part", "labour", "trip", "callbacks", "credit_received")),
    "credit.credited",
}
PROGRAMME_AMOUNTS = {
    *(f"{name}.{end}" for name in ("cost", "found", "credit", "narrowing") for end in ESTIMATE),
    *(f"{name}.{end}" for name in ("without", "with_tests") for end in (0, 1)),
}


def leaves(found: Any, path: str = "") -> Iterator[tuple[str, Any]]:
    """Every plain value and every column of a figure, with its path."""
    if is_dataclass(found):
        inside: Any = ((entry.name, getattr(found, entry.name)) for entry in fields(found))
    elif isinstance(found, dict):
        inside = found.items()
    elif isinstance(found, pd.DataFrame):
        inside = ((name, found[name].tolist()) for name in found.columns)
    elif isinstance(found, tuple):
        inside = enumerate(found)
    else:
        yield path, found
        return
    for name, one in inside:
        yield from leaves(one, f"{path}.{name}" if path else str(name))


def numbers(value: Any) -> np.ndarray | None:
    """The value as numbers, or None where it is none."""
    try:
        return None if isinstance(value, str) else np.atleast_1d(np.asarray(value, dtype=float))
    except (TypeError, ValueError):
        return None


def assert_converted(before: Any, after: Any, amounts: set[str], words: set[str]) -> None:
    """Amounts are those times the rate, words differ, all else is the same."""
    old, new = dict(leaves(before)), dict(leaves(after))
    assert list(old) == list(new) and amounts | words <= set(old)
    for path, value in old.items():
        if path in words:
            assert canonical(value) != canonical(new[path]), path
        elif path in amounts:
            expected, got = numbers(value), numbers(new[path])
            np.testing.assert_allclose(got, expected * RATE, rtol=1e-12, err_msg=path)
        else:
            assert repr(value) == repr(new[path]), path


@pytest.fixture
def rates(settings):
    return replace(settings, labour_cost_per_hour=80.0, trip_cost=60.0)


def worked_out(con, settings):
    everything = Scope()
    found = waste(con, everything, settings, score_swaps(con, everything, settings), np.random.default_rng(1))
    return found, bench_programme(con, everything, settings, found)


@pytest.fixture
def both(fleet, rates):
    con, _ = fleet
    con.execute("UPDATE swap_case SET claim_outcome = 'paid', claim_credited_amount = 20.0 WHERE month = 3")
    con.execute("UPDATE swap_case SET unit_cost = NULL WHERE month = 5")
    found, programme = worked_out(con, rates)
    # An amount that is nothing would hide one that is not converted.
    return replace(found, parts={name: 10.0 + place for place, name in enumerate(found.parts)}), programme


def test_every_amount_of_parts_waste_is_converted_and_nothing_else(both):
    found, _ = both
    kept = copy.deepcopy(found)
    assert all(np.nansum(np.abs(numbers(value))) > 0 for path, value in leaves(found) if path in WASTE_AMOUNTS)
    after = waste_in(found, "EUR", RATE)
    assert after.currency == "EUR"
    told = {"known.sentence", "estimated.sentence", "what_if.sentence", "currency"}
    assert_converted(found, after, WASTE_AMOUNTS, told)
    assert [*map(repr, leaves(found))] == [*map(repr, leaves(kept))]
    assert any("labour at 80.00 USD an hour" in canonical(line) for line in after.assumptions)


def test_sentences_tell_the_converted_amounts(both):
    found, _ = both
    after = waste_in(found, "EUR", RATE)
    for estimate in (after.known, after.estimated, after.what_if):
        said = canonical(estimate.sentence)
        assert f"{estimate.value:,.0f} EUR" in said and "USD" not in said
    for estimate in (after.estimated, after.what_if):
        assert f"(between {estimate.low:,.0f} and {estimate.high:,.0f})" in canonical(estimate.sentence)
    assert "at least" in after.known.sentence
    # The same functions make them: at a rate of one, in the same currency, nothing changes.
    assert [*map(repr, leaves(waste_in(found, "USD", 1.0)))] == [*map(repr, leaves(found))]


def test_every_amount_of_the_bench_programme_is_converted(both, put):
    found, programme = both
    programme = replace(programme, cost=replace(programme.credit, value=90.0, low=90.0, high=90.0))
    kept = copy.deepcopy(programme)
    known = waste_in(found, "EUR", RATE).known
    after = bench_programme_in(programme, known, "EUR", RATE)
    assert_converted(programme, after, PROGRAMME_AMOUNTS, {"found.sentence", "currency"})
    assert after.currency == "EUR" and "80.00 USD an hour" in canonical(after.assumption)
    assert [*map(repr, leaves(programme))] == [*map(repr, leaves(kept))]


def test_unknown_stays_unknown_with_its_reason(store, put_swaps, settings):
    put_swaps(verdict=["good", None], unit_cost=None)
    found, programme = worked_out(store, settings)
    after = waste_in(found, "EUR", RATE)
    for name in ("known", "estimated", "what_if"):
        assert getattr(after, name) == getattr(found, name) and getattr(after, name).value is None
    assert np.isnan(after.parts["part"])
    assert after.by_branch[["known", "estimated", "low", "high"]].isna().all(axis=None)
    bench = bench_programme_in(programme, after.known, "EUR", RATE)
    assert bench.cost == programme.cost and bench.cost.value is None
    assert (bench.without, bench.with_tests, bench.narrowing) == (None, None, programme.narrowing)


def test_what_is_missing_has_its_widths_of_money_converted():
    lines = [
        ("removed_tag", "adjusted_rate", "share", 0.2, 0.1, False, False, "told"),
        ("removed_tag", "waste", "money", 1000.0, 500.0, True, False, "told"),
        ("cause", "season_blockage", "days", 20.0, np.nan, False, False, "told"),
        ("reading", "waste", "money", np.nan, np.nan, False, False, "told"),
    ]
    found = Missing(
        pd.DataFrame(columns=list(FIELD_COLUMNS)), pd.DataFrame(lines, columns=list(FIGURE_COLUMNS)), {"not_read": 3}
    )
    kept = copy.deepcopy(found)
    after = missing_in(found, RATE)
    np.testing.assert_allclose(after.figures["width_now"], [0.2, 800.0, 20.0, np.nan])
    np.testing.assert_allclose(after.figures["width_filled"], [0.1, 400.0, np.nan, np.nan])
    rest = [name for name in FIGURE_COLUMNS if not name.startswith("width")]
    pd.testing.assert_frame_equal(after.figures[rest], found.figures[rest])
    assert after.fields is found.fields and after.reading_lacks == found.reading_lacks
    pd.testing.assert_frame_equal(found.figures, kept.figures)
