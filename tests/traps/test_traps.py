"""What a naive dashboard gets wrong, each from a company's files to the published figures."""

from __future__ import annotations

import json
from dataclasses import fields, is_dataclass
from datetime import timedelta

import numpy as np
import pandas as pd
import pytest
from company import Company, published, week

from models.figures.scope import Scope
from models.figures.sidecar import figures_for
from models.methods.estimate import Estimate
from models.misdiagnosis.features import CASE_MIX, COLUMN_KNOWN_AT, REGISTRY, Feature, LeakedFeatureError
from models.misdiagnosis.scores import score_swaps
from pipelines.loading import load
from pipelines.settings import Settings
from pipelines.store import Store


def _tested(n: int = 80) -> Company:
    """A swap a day at sites of their own, all tested on the next day, every other switch good."""
    company = Company()
    for i in range(n):
        at = week(0, i)
        visit = company.swap(at, f"s{i}", f"t{i % 4}", notes="hose dry" if i % 3 else "water in hose")
        company.bench(visit, at + timedelta(days=1), is_good=i % 2 == 0)
    return company


def _bytes(figures) -> bytes:
    return json.dumps(published(figures), allow_nan=False, sort_keys=True).encode()


def test_a_leaked_feature_makes_training_fail(tmp_path):
    _tested().figures(tmp_path)
    con = Store(tmp_path / "home").open_reader()
    try:
        # With every feature that is allowed there is a model, so that it is the leak that fails.
        assert score_swaps(con, Scope(), Settings(), tuple(REGISTRY.values())).is_available
        for column in (name for name, at in COLUMN_KNOWN_AT.items() if at == "later"):
            leaked = Feature(
                "harmless_name", "category", "diagnosis", f"coalesce(CAST({column} AS VARCHAR), '')", "leak"
            )
            with pytest.raises(LeakedFeatureError, match=column):
                score_swaps(con, Scope(), Settings(), (*CASE_MIX, leaked))
    finally:
        con.close()


def test_the_same_records_again_leave_every_figure_as_it_was(tmp_path):
    """The same files, then the same rows under other names and in another order."""
    company = _tested()
    before = _bytes(company.figures(tmp_path))
    again = company.write(tmp_path / "again", backwards=True)
    for file in again.iterdir():
        file.rename(file.with_name(f"{file.stem}_2024-02-01.csv"))
    report = load(tmp_path / "home", [tmp_path / "records", again])
    assert sum(file.n_duplicates for file in report.files) >= 80 and not sum(file.n_accepted for file in report.files)
    assert _bytes(figures_for(Store(tmp_path / "home"), Settings())) == before
    # Worked out anew rather than read back.
    other = Company(company.rows).figures(tmp_path / "fresh")
    assert _bytes(other) == before


def test_a_switch_tested_twice_counts_once_by_its_last_test(tmp_path):
    once, twice = _tested(30), _tested(30)
    for test in list(twice.rows["bench_tests"][:10]):
        at = pd.Timestamp(test["tested_at"]) + timedelta(days=1)
        twice.add(
            "bench_tests", **(test | {"bench_test_id": f"{test['bench_test_id']} again", "tested_at": at.isoformat()})
        )
    # The first one, good at first, is found far off on the day after.
    twice.rows["bench_tests"][30] |= {"make_1": 140, "make_2": 141, "make_3": 139}
    first, second = once.figures(tmp_path / "once").good_switch, twice.figures(tmp_path / "twice").good_switch
    assert (second.n_swaps, second.n_tested) == (first.n_swaps, first.n_tested) == (30, 30)
    assert (second.n_good, second.n_faulty) == (first.n_good - 1, first.n_faulty + 1)


def _weeks_with_callbacks(n_weeks: int, bad_week: int) -> Company:
    """Ten swaps a week at sites of their own; all of one week come back on the next day, else one in ten."""
    company = Company()
    for number in range(n_weeks):
        for i in range(10):
            site = f"s{number}.{i}"
            company.swap(week(number, i % 5), site)
            if number == bad_week or i == 0:
                company.visit(week(number, i % 5 + 1), site)
    return company


@pytest.mark.parametrize(("bad_week", "is_signal"), [(20, True), (38, False)])
def test_weeks_too_young_for_their_window_do_not_signal(tmp_path, bad_week, is_signal):
    """The same bad week signals once its 30 days are over, and is drawn open before."""
    weeks = _weeks_with_callbacks(40, bad_week).figures(tmp_path).control["callback_30"].weeks
    row = weeks.iloc[bad_week]
    assert row["share"] == 1.0
    assert (bool(row["is_mature"]), bool(row["is_signal"])) == (is_signal, is_signal)


def test_a_planned_return_is_no_callback_and_an_unplanned_one_is(tmp_path):
    company = Company()
    for i in range(20):
        site, at = f"s{i}", week(i)
        if i < 10:
            # Waiting for the switch, which is fitted on the return.
            job = company.visit(at, site, job_id=f"job {i}", is_declared_complete="false", waits_for_part="true")
            back = company.swap(
                at + timedelta(days=5), site, job_id=f"job {i}", visit_kind="return_for_part", follows_visit_id=job
            )
            assert back != job
        else:
            company.swap(at, site)
            company.visit(at + timedelta(days=5), site)
    for row in company.rows["visits"]:
        row.setdefault("follows_visit_id", None)
    company.visit(week(40), "last", visit_kind="maintenance", symptom=None, follows_visit_id=None)
    found = company.figures(tmp_path).callbacks
    assert (found.n_swaps, found.n_callbacks, found.n_uncertain) == (20, 10, 0)
    assert found.windows[30]["without_cause"].value == pytest.approx(0.5)


def test_who_alone_serves_one_site_is_not_separable(tmp_path):
    company = Company()
    for i in range(120):
        site, technician = ("mill", "solo") if i % 6 == 0 else (f"s{i % 40}", f"t{i % 5}")
        visit = company.swap(week(0, i, 1 if technician == "solo" else 0), site, technician)
        company.bench(visit, week(0, i + 1), is_good=technician == "solo" or i % 4 == 0)
    table = company.figures(tmp_path).technicians.table.set_index("technician_id")
    assert table.loc["solo", "draft_fault_visits"] == 20
    assert not table.loc["solo", "is_separable"] and not table.loc["solo", "is_flagged"]
    assert "Not separable" in table.loc["solo", "reason"]
    assert table.drop("solo")["is_separable"].all()


def test_a_record_of_springs_alone_makes_no_seasonal_claim(tmp_path):
    """Three springs, each with many more faults in March than in May: that is no season of the year."""
    company = Company()
    for year in range(3):
        for i in range(90):
            at = week(52 * year + 9, i // (1 if i > 60 else 2))
            company.visit(at, f"s{i}", cause_code="trap_fouled")
    figures = company.figures(tmp_path)
    season = figures.seasons["condensate"]
    assert sum(month["n_faults"] for month in season.by_month) > 200
    assert not season.is_claimed and season.peak_day.value is None and season.curve.empty
    assert "heating season" in season.sentence
    shown = published(figures)["seasons"]["condensate"]
    assert shown["peak_day"] is shown["peak_to_trough"] is shown["p_value"] is None
    assert shown["by_month"][2]["rate_per_1000"] > shown["by_month"][4]["rate_per_1000"]


def test_without_a_single_test_there_are_bounds_and_no_rate(tmp_path):
    company = Company()
    for i in range(60):
        company.swap(week(0, i), f"s{i}", f"t{i % 3}")
    figures = company.figures(tmp_path)
    rate = published(figures)["good_switch_rate"]
    assert rate["tested"]["value"] is rate["adjusted"]["value"] is rate["drawn"]["value"] is None
    assert (rate["bounds"]["all_faulty"]["value"], rate["bounds"]["all_good"]["value"]) == (0.0, 1.0)
    assert all(row["value"] is None and row["sentence"] for rows in rate["by"].values() for row in rows)
    assert "None of the 60" in figures.good_switch.adjusted.sentence
    assert not figures.scores.is_available and figures.waste.estimated.value is None


def _estimates(value):
    if isinstance(value, Estimate):
        yield value
    elif is_dataclass(value) and not isinstance(value, type):
        for entry in fields(value):
            yield from _estimates(getattr(value, entry.name))
    elif isinstance(value, dict | list | tuple):
        for entry in value.values() if isinstance(value, dict) else value:
            yield from _estimates(entry)


def _one_visit(company: Company) -> None:
    company.visit(week(0))


def _one_swap(company: Company) -> None:
    company.swap(week(0))


def _no_event(company: Company) -> None:
    """Visits, and nothing that any figure counts."""
    for i in range(30):
        company.visit(week(i), f"s{i}", visit_kind="maintenance", symptom=None)


def _swaps_without_event(company: Company) -> None:
    """Swaps that never came back, each followed for months."""
    for i in range(30):
        company.swap(week(i), f"s{i}")
    company.visit(week(60), "other", visit_kind="maintenance", symptom=None)


@pytest.mark.parametrize("fill", [_one_visit, _one_swap, _no_event, _swaps_without_event], ids=lambda f: f.__name__)
def test_one_row_or_no_event_gives_words_and_never_nan(tmp_path, fill):
    company = Company()
    fill(company)
    figures = company.figures(tmp_path)
    text = _bytes(figures).decode()
    assert "NaN" not in text and "nan" not in text.split() and "Infinity" not in text
    found = list(_estimates(figures))
    assert len(found) > 50
    for estimate in found:
        assert estimate.sentence and "nan" not in estimate.sentence.lower().split()
        assert all(number is None or np.isfinite(number) for number in (estimate.value, estimate.low, estimate.high))
        assert estimate.value is not None or estimate.low is None
    if fill is _swaps_without_event:
        month = figures.callbacks.windows[30]["without_cause"]
        assert month.value == 0.0 and 0 < month.high < 0.2
