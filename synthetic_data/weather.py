"""Daily weather of the invented regions: seasonal mean, slow wandering, cold snaps, snow and gusts.

A stochastic model of common form (annual cosine plus first-order autoregression); its numbers are invented.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import numpy as np
from scipy.signal import lfilter

from synthetic_data.scenario import REGIONS

DAYS_PER_YEAR = 365.25
# 65 degrees Fahrenheit.
HEATING_BASE_C = 65.0 * 5 / 9 - 160 / 9

_MEAN_C = np.array([7.5, 9.5, 5.5, 8.5])
_SWING_C = np.array([14.0, 11.0, 13.0, 15.0])
_COLDEST_DAY = 20.0
_PERSISTENCE = 0.76
_WANDER_C = 3.0
_SNAPS_PER_YEAR = 6.0
_GUST_M_S = np.array([10.0, 14.0, 13.0, 11.0])

# Weather that brings a masked cause back, by codes.CAUSES.returns_with.
FREEZE_BELOW_C = -9.0
SNOW_ABOVE_MM = 50.0
GUST_ABOVE_M_S = 21.0


@dataclass(frozen=True)
class Weather:
    """Arrays of shape (n_regions, n_days): degrees Celsius, millimetres, metres a second."""

    minimum_c: np.ndarray
    maximum_c: np.ndarray
    precipitation_mm: np.ndarray
    snowfall_mm: np.ndarray
    gust_m_s: np.ndarray

    @property
    def mean_c(self) -> np.ndarray:
        return (self.minimum_c + self.maximum_c) / 2

    @property
    def heating_degree_days_c(self) -> np.ndarray:
        return np.maximum(HEATING_BASE_C - self.mean_c, 0.0)


def day_of_year(first_day: date, n_days: int) -> np.ndarray:
    """Day of the year (1 = 1 January) of n_days days from first_day, shape (n_days,), integers."""
    days = np.datetime64(first_day, "D") + np.arange(n_days)
    return (days - days.astype("datetime64[Y]").astype("datetime64[D]")).astype(np.int64) + 1


def simulate_weather(rng: np.random.Generator, first_day: date, n_days: int) -> Weather:
    """Weather of every region for n_days from first_day. rng: source of randomness."""
    n_regions = len(REGIONS)
    shape = (n_regions, n_days)
    season = np.cos(2 * np.pi * (day_of_year(first_day, n_days) - _COLDEST_DAY) / DAYS_PER_YEAR)
    wander = _wander(rng, shape)
    mean_c = _MEAN_C[:, None] - _SWING_C[:, None] * season + wander - _cold_snaps(rng, shape, season)
    half_range = 3.2 + 1.2 * (1 - season) / 2 + rng.gamma(4.0, 0.35, shape)
    is_wet = rng.random(shape) < 0.36
    precipitation = np.where(is_wet, rng.gamma(0.9, 6.0, shape), 0.0)
    snow_share = np.clip((1.5 - mean_c) / 3.0, 0.0, 1.0)
    snowfall = precipitation * snow_share * 10.0
    gust = _GUST_M_S[:, None] * rng.gamma(9.0, 1 / 9.0, shape) * (1 + 0.12 * season)
    return Weather(
        minimum_c=np.round(mean_c - half_range, 1),
        maximum_c=np.round(mean_c + half_range, 1),
        precipitation_mm=np.round(precipitation, 1),
        snowfall_mm=np.round(snowfall, 0),
        gust_m_s=np.round(np.clip(gust, 2.0, 45.0), 1),
    )


def _wander(rng: np.random.Generator, shape: tuple[int, int]) -> np.ndarray:
    """First-order autoregression, partly shared by the regions, standard deviation _WANDER_C."""
    n_regions, n_days = shape
    burn_in = 60
    shared = rng.standard_normal((1, n_days + burn_in))
    own = rng.standard_normal((n_regions, n_days + burn_in))
    shocks = np.sqrt(0.6) * shared + np.sqrt(0.4) * own
    scale = _WANDER_C * np.sqrt(1 - _PERSISTENCE**2)
    return lfilter([scale], [1.0, -_PERSISTENCE], shocks, axis=1)[:, burn_in:]


def _cold_snaps(rng: np.random.Generator, shape: tuple[int, int], season: np.ndarray) -> np.ndarray:
    """Degrees taken off the mean on days of a cold snap; snaps come in winter, last days, and end gradually."""
    n_regions, n_days = shape
    chance = _SNAPS_PER_YEAR / DAYS_PER_YEAR * 2.2 * np.clip(season, 0.0, None) ** 1.5
    starts = (rng.random((1, n_days)) < chance) & (rng.random(shape) < 0.8)
    depth = np.where(starts, rng.gamma(6.0, 1.4, shape), 0.0)
    return lfilter(np.array([0.5, 1.0, 1.0, 0.8, 0.4]), [1.0], depth, axis=1)


def next_event_day(happens: np.ndarray) -> np.ndarray:
    """For each region and day, the first later day on which `happens`; n_days where there is none.

    happens: boolean, shape (n_regions, n_days). Returns integers, same shape.
    """
    n_days = happens.shape[1]
    own = np.where(happens, np.arange(n_days), n_days)
    from_here = np.minimum.accumulate(own[:, ::-1], axis=1)[:, ::-1]
    after = np.full_like(from_here, n_days)
    after[:, :-1] = from_here[:, 1:]
    return after
