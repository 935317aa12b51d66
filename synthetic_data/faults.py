"""When draft faults begin: hazards by cause, season and weather, and the mean intensity by day of the year."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import numpy as np

from synthetic_data import causes
from synthetic_data.places import Places
from synthetic_data.scenario import REGIONS, Scenario
from synthetic_data.weather import DAYS_PER_YEAR, Weather, day_of_year, simulate_weather

# Smooth seasonal intensity exp(strength * cos(2 pi (day - peak) / year)) of the two families.
PEAK_DAY = {"condensate": 27.0, "blockage": 334.0}
STRENGTH = {"condensate": 0.95, "blockage": 0.75}
CLIMATE_YEARS = 160
YEAR_DAYS = 366


@dataclass(frozen=True)
class Intensity:
    """Intensity by cause and region. daily: (n_causes, n_regions, n_days), mean_curve: (n_causes, n_regions, 366).

    Both are scaled so that the mean curve sums to 1 over a mean year: multiply by faults per appliance and year.
    """

    daily: np.ndarray
    mean_curve: np.ndarray


def make_intensity(weather: Weather, climate: Weather, first_day: date, climate_first_day: date) -> Intensity:
    """Intensity of every cause under the weather that happened, and its mean over the simulated climate years."""
    doy = day_of_year(first_day, weather.mean_c.shape[1])
    climate_doy = day_of_year(climate_first_day, climate.mean_c.shape[1])
    daily = np.empty((causes.N_CAUSES, len(REGIONS), len(doy)))
    mean_curve = np.empty((causes.N_CAUSES, len(REGIONS), YEAR_DAYS))
    timings = {timing: _of_timing(timing, weather, climate, doy, climate_doy) for timing in set(causes.TIMING)}
    for number, timing in enumerate(causes.TIMING):
        daily[number], mean_curve[number] = timings[timing]
    return Intensity(daily, mean_curve)


def _of_timing(
    timing: str, weather: Weather, climate: Weather, doy: np.ndarray, climate_doy: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Scaled daily intensity (n_regions, n_days) and mean curve (n_regions, 366) of one timing."""
    own, typical = _raw(timing, weather), _raw(timing, climate)
    mean_of_day = np.stack([_smooth_mean(row, climate_doy) for row in typical])
    if timing in PEAK_DAY:
        # The weather moves faults within the season; the mean over years is the smooth curve itself.
        wave = np.exp(STRENGTH[timing] * np.cos(2 * np.pi * (np.arange(1, 367) - PEAK_DAY[timing]) / DAYS_PER_YEAR))
        own = own / mean_of_day[:, doy - 1] * wave[doy - 1]
        mean_of_day = np.broadcast_to(wave, mean_of_day.shape).copy()
    scale = mean_of_day[:, :365].sum(axis=1, keepdims=True)
    return own / scale, mean_of_day / scale


def _raw(timing: str, weather: Weather) -> np.ndarray:
    """Unscaled intensity of one timing under a weather, shape (n_regions, n_days)."""
    heat = 0.30 + weather.heating_degree_days_c / 9.0
    if timing == "condensate":
        return 1.0 + 0.06 * np.clip(2.0 - weather.mean_c, 0, 15)
    if timing == "blockage":
        return 1.0 + 0.03 * np.clip(weather.gust_m_s - 8.0, 0, 20)
    if timing == "freeze":
        return 0.004 + np.clip(-3.0 - weather.minimum_c, 0, 15) / 10.0
    if timing == "snow":
        yesterday = np.roll(weather.snowfall_mm, 1, axis=1)
        return 0.004 + np.clip(weather.snowfall_mm + 0.5 * yesterday - 15.0, 0, 150) / 60.0
    if timing == "gust":
        return heat * (0.1 + np.clip(weather.gust_m_s - 13.0, 0, 15) / 4.0)
    return heat


def _smooth_mean(values: np.ndarray, doy: np.ndarray) -> np.ndarray:
    """Mean by day of the year over many years, shape (366,), smoothed by a circular window of 15 days."""
    total = np.bincount(doy, weights=values, minlength=YEAR_DAYS + 1)[1:]
    count = np.bincount(doy, minlength=YEAR_DAYS + 1)[1:]
    mean = total / np.maximum(count, 1)
    weights = np.hanning(17)[1:-1] / np.hanning(17)[1:-1].sum()
    padded = np.concatenate([mean[-7:], mean, mean[:7]])
    return np.convolve(padded, weights, mode="valid")


def make_climate(rng: np.random.Generator) -> tuple[Weather, date]:
    """Many years of weather from the same model, to average over."""
    first = date(2000, 1, 1)
    return simulate_weather(rng, first, round(CLIMATE_YEARS * DAYS_PER_YEAR)), first


def fault_rates(rng: np.random.Generator, places: Places, scenario: Scenario, n_branches: int) -> np.ndarray:
    """Expected new draft faults per year by appliance and cause, shape (n_appliances, n_causes).

    Non-condensing appliances have no condensate causes; branches see a different mix of causes.
    """
    groups = sorted(set(causes.GROUPS))
    mix = np.exp(rng.normal(0, 0.22, (n_branches, len(groups))))
    by_cause = mix[:, [groups.index(group) for group in causes.GROUPS]]
    rate = scenario.draft_fault_rate * causes.SHARE[None, :] * by_cause[places.branch] * places.proneness[:, None]
    if_dry = np.where(causes.NEEDS_CONDENSATE, 0.0, 1.0)
    if_dry[causes.NUMBER["hose_water"]] = 0.35
    rate = rate * np.where(places.is_condensing[:, None], 1.0, if_dry[None, :])
    # Water heaters run all year and have short vents: fewer faults.
    return rate * np.where(places.kind == 3, 0.7, 1.05)[:, None]


def draw_faults(
    rng: np.random.Generator, places: Places, rates: np.ndarray, intensity: Intensity, n_days: int
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """New faults as arrays: appliance, cause, day. An inhomogeneous Poisson process, exact per day."""
    cumulative = np.cumsum(intensity.daily[:, :, :n_days], axis=2)
    total = cumulative[:, :, -1]
    expected = rates * total[:, places.region].T
    counts = rng.poisson(expected)
    appliance, cause = np.nonzero(counts)
    repeats = counts[appliance, cause]
    appliance, cause = np.repeat(appliance, repeats), np.repeat(cause, repeats)
    region = places.region[appliance]
    target = rng.random(len(appliance)) * total[cause, region]
    day = np.empty(len(appliance), np.int64)
    pair = cause * len(REGIONS) + region
    order = np.argsort(pair, kind="stable")
    bounds = np.searchsorted(pair[order], np.arange(causes.N_CAUSES * len(REGIONS) + 1))
    # One search per cause and region, not per fault.
    for key in np.flatnonzero(np.diff(bounds)):
        rows = order[bounds[key] : bounds[key + 1]]
        curve = cumulative[key // len(REGIONS), key % len(REGIONS)]
        day[rows] = np.searchsorted(curve, target[rows])
    day = np.minimum(day, n_days - 1)
    in_service = (day > places.installed_day[appliance] + 5) & (day < places.removed_day[appliance])
    return appliance[in_service], cause[in_service], day[in_service]
