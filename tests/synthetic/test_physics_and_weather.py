"""Draft and weather are those of a real heating season, in the range of common practice."""

from __future__ import annotations

from datetime import date

import numpy as np
import pytest

from pipelines.contract.units import INCH_OF_WATER_PA
from synthetic_data import causes
from synthetic_data.faults import PEAK_DAY, make_climate, make_intensity
from synthetic_data.physics import draft_pa, faulty_draft_pa, gauge_reading_pa, true_make_pa
from synthetic_data.places import RATED_BREAK_INCH, RATED_MAKE_INCH, RATED_MAKE_PA, TOLERANCE_INCH, make_places
from synthetic_data.scenario import Scenario, plan_blocks
from synthetic_data.weather import HEATING_BASE_C, next_event_day, simulate_weather


@pytest.fixture(scope="module")
def weather():
    return simulate_weather(np.random.default_rng(1), date(2000, 7, 1), 20 * 365)


def test_draft_falls_with_every_part_of_its_path_and_with_the_square_of_the_fan_speed():
    sound = draft_pa(np.array([200.0]))
    assert sound[0] == pytest.approx(200 * (1 - 0.00025 * 64))
    for part in ("vent", "intake", "condensate", "hose"):
        assert draft_pa(np.array([200.0]), **{part: 0.5})[0] == pytest.approx(sound[0] / 2)
    assert draft_pa(np.array([200.0]), fan_speed=0.5)[0] == pytest.approx(sound[0] / 4)
    assert draft_pa(np.array([200.0]), outdoor_c=-20)[0] > sound[0] > draft_pa(np.array([200.0]), outdoor_c=30)[0]
    assert draft_pa(np.array([200.0]), gust_m_s=25)[0] < sound[0]


def test_a_fault_on_the_draft_path_keeps_the_switch_open_and_one_elsewhere_does_not():
    rng = np.random.default_rng(2)
    n = 400
    rated = np.full(n, 150.0)
    nominal = rated * rng.uniform(1.35, 1.8, n)
    still = (np.full(n, 0.0), np.full(n, 5.0), np.ones(n))
    for code in causes.CODES:
        cause = np.full(n, causes.NUMBER[code])
        draft = faulty_draft_pa(rng, cause, nominal, rated, *still, np.zeros(n, bool))
        if causes.PATH[causes.NUMBER[code]] == "none":
            assert (draft > rated).all(), code
        else:
            assert (draft < rated).all(), code
        away = faulty_draft_pa(rng, cause, nominal, rated, *still, np.ones(n, bool))
        assert (away > rated).all(), code


def test_good_switches_lie_well_within_tolerance_and_drifted_ones_well_outside():
    rng = np.random.default_rng(3)
    for make, tolerance in zip(RATED_MAKE_INCH, TOLERANCE_INCH, strict=True):
        rated = np.full(2_000, make * INCH_OF_WATER_PA)
        good = np.abs(true_make_pa(rng, rated, np.zeros(2_000, bool)) - rated)
        drifted = np.abs(true_make_pa(rng, rated, np.ones(2_000, bool)) - rated)
        assert good.max() < 0.8 * tolerance * INCH_OF_WATER_PA
        assert drifted.min() > 1.2 * tolerance * INCH_OF_WATER_PA


def test_a_gauge_is_right_on_average_and_within_a_few_percent():
    shown = gauge_reading_pa(np.random.default_rng(4), np.full(20_000, 200.0), np.zeros(20_000))
    assert shown.mean() == pytest.approx(200, abs=0.1)
    assert 0.5 < shown.std() < 4


def test_ratings_are_in_the_range_of_common_practice():
    assert RATED_MAKE_INCH.min() > 0.1
    assert RATED_MAKE_INCH.max() < 3
    assert (RATED_BREAK_INCH < RATED_MAKE_INCH).all()
    places = make_places(np.random.default_rng(5), Scenario(), plan_blocks(Scenario())[0])
    spare = places.nominal_draft_pa / RATED_MAKE_PA[places.switch_model]
    assert 1.3 < spare.min() < spare.max() < 1.9
    assert places.is_twin.mean() == pytest.approx(2 * 0.10 / 1.10, abs=0.02)


def test_readings_as_delivered_are_drafts_not_gas_pressures(fleet):
    inches = (
        fleet.con.execute(
            """SELECT abs(TRY_CAST(value AS DOUBLE)) AS value FROM readings WHERE quantity = 'draft_at_switch'
           AND unit IN ('inH2O', 'iwc', 'in. w.c.') AND condition <> 'at_rest'"""
        )
        .df()["value"]
        .dropna()
    )
    assert inches.between(0.05, 3.2).all()
    assert inches.median() == pytest.approx(1.1, abs=0.35)


def test_heating_degree_days_are_those_of_a_heating_climate(weather):
    per_year = weather.heating_degree_days_c.sum(axis=1) / 20
    assert ((per_year > 2_200) & (per_year < 5_500)).all()
    assert np.allclose(
        weather.heating_degree_days_c, np.maximum(HEATING_BASE_C - (weather.minimum_c + weather.maximum_c) / 2, 0)
    )
    assert pytest.approx(18.3333, abs=1e-3) == HEATING_BASE_C


def test_winter_is_cold_and_summer_is_not(weather):
    days = np.datetime64("2000-07-01") + np.arange(weather.mean_c.shape[1])
    month = days.astype("datetime64[M]").astype(int) % 12 + 1
    for region in weather.mean_c:
        assert region[month == 1].mean() < 3
        assert region[month == 7].mean() > 15
    assert (weather.minimum_c <= weather.maximum_c).all()
    assert weather.snowfall_mm[:, (month >= 6) & (month <= 8)].max() == 0
    assert (weather.snowfall_mm.sum(axis=1) > 0).all()


def test_cold_snaps_come_in_winter_last_days_and_wander_between_years(weather):
    """A snap: three days on end more than 6 degrees below the mean of the season."""
    days = np.datetime64("2000-07-01") + np.arange(weather.mean_c.shape[1])
    doy = ((days - days.astype("datetime64[Y]").astype("datetime64[D]")).astype(int)).clip(0, 364)
    region = weather.mean_c[0]
    typical = np.bincount(doy, weights=region, minlength=365) / np.bincount(doy, minlength=365)
    typical = np.convolve(np.r_[typical[-15:], typical, typical[:15]], np.ones(31) / 31, mode="valid")
    is_cold = region - typical[doy] < -6
    snap = is_cold[2:] & is_cold[1:-1] & is_cold[:-2]
    is_winter = (doy[2:] < 75) | (doy[2:] > 320)
    assert snap[is_winter].mean() > 3 * max(snap[~is_winter].mean(), 1e-9)
    assert snap[is_winter].sum() > 40
    # Today's departure tells tomorrow's: weather is not drawn afresh every day.
    departure = region - typical[doy]
    assert 0.5 < np.corrcoef(departure[1:], departure[:-1])[0, 1] < 0.95


def test_next_event_is_the_first_one_after_the_day():
    happens = np.array([[False, True, False, False, True, False]])
    assert next_event_day(happens).tolist() == [[1, 4, 4, 4, 6, 6]]


def test_mean_intensity_of_the_smooth_causes_peaks_on_the_known_day_whatever_the_weather(weather):
    climate, first = make_climate(np.random.default_rng(6))
    intensity = make_intensity(weather, climate, date(2000, 7, 1), first)
    for code, family in (("trap_fouled", "condensate"), ("nest_or_debris", "blockage")):
        curve = intensity.mean_curve[causes.NUMBER[code]].mean(axis=0)[:365]
        assert abs(curve.argmax() + 1 - PEAK_DAY[family]) <= 1
        assert curve.sum() == pytest.approx(1.0)
        # Over twenty simulated years the daily intensity averages to the mean curve.
        per_year = intensity.daily[causes.NUMBER[code]].sum() / (20 * intensity.daily.shape[1])
        assert per_year == pytest.approx(1.0, abs=0.05)
    frozen = intensity.mean_curve[causes.NUMBER["drain_frozen"]].mean(axis=0)
    assert frozen[:60].mean() > 20 * frozen[180:240].mean()
