"""What annual harmonics say: the day of the peak and the ratio of peak to trough, with their ranges."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from models.methods.estimate import Estimate
from models.methods.numeral import numeral

YEAR_DAYS = 365.25
FEW_SEASONS = 5
GRID = np.linspace(0, 1, 1461)[:-1]


def harmonic_columns(day: NDArray, n_harmonics: int) -> NDArray:
    """cos, sin pairs of the k-th annual harmonic, shape (n, 2 * n_harmonics)."""
    return _waves(np.asarray(day, dtype=float) / YEAR_DAYS, n_harmonics)


def _waves(year_fraction: NDArray, n_harmonics: int) -> NDArray:
    angle = 2 * np.pi * year_fraction[:, None] * np.arange(1, n_harmonics + 1)
    return np.stack([np.cos(angle), np.sin(angle)], axis=2).reshape(year_fraction.size, 2 * n_harmonics)


def phase_of(pairs: NDArray) -> float:
    """Year fraction of the highest point of the curve, in [0, 1)."""
    if pairs.size == 2:
        return float(np.arctan2(pairs[1], pairs[0]) / (2 * np.pi) % 1)
    return float(GRID[np.argmax(_waves(GRID, pairs.size // 2) @ pairs)])


def peak_of(pairs: NDArray, covariance: NDArray, drawn: NDArray | None, n: int, level: float, method: str) -> Estimate:
    """Day of the year of the peak. low may exceed high: the range then runs over the turn of the year.

    pairs: cos, sin coefficients; covariance: of those; drawn: (n_draws, n_pairs) or None for the delta method.
    """
    phase = phase_of(pairs)
    if drawn is None:
        square = float(pairs @ pairs)
        gradient = np.array([-pairs[1], pairs[0]]) / square / (2 * np.pi)
        reach = stats.norm.ppf((1 + level) / 2) * float(np.sqrt(gradient @ covariance @ gradient))
        before, after = -min(reach, 0.5), min(reach, 0.5)
    else:
        waves = _waves(GRID, pairs.size // 2)
        away = (GRID[np.argmax(drawn @ waves.T, axis=1)] - phase + 0.5) % 1 - 0.5
        before, after = (float(q) for q in np.quantile(away, [(1 - level) / 2, (1 + level) / 2]))
    day, low, high = (float((phase + shift) % 1 * YEAR_DAYS) for shift in (0.0, before, after))
    words = f"The peak falls on day {day:.0f} of the year (between day {low:.0f} and day {high:.0f})."
    return Estimate(day, low, high, n, None, method, words, level)


def ratio_of(pairs: NDArray, covariance: NDArray, drawn: NDArray | None, n: int, level: float, method: str) -> Estimate:
    """Highest over lowest point of the curve; never under 1."""
    if drawn is None:
        amplitude = float(np.hypot(*pairs))
        unit = pairs / amplitude if amplitude > 0 else np.array([1.0, 0.0])
        half = stats.norm.ppf((1 + level) / 2) * 2 * float(np.sqrt(unit @ covariance @ unit))
        log_ratio, low, high = 2 * amplitude, 2 * amplitude - half, 2 * amplitude + half
    else:
        waves = _waves(GRID, pairs.size // 2)
        log_ratio = float(np.ptp(waves @ pairs))
        low, high = (float(q) for q in np.quantile(np.ptp(drawn @ waves.T, axis=1), [(1 - level) / 2, (1 + level) / 2]))
        low, high = min(low, log_ratio), max(high, log_ratio)
    value, low, high = (float(np.exp(max(v, 0.0))) for v in (log_ratio, low, high))
    words = f"{numeral(value, '.1f')} times as many at the peak as at the low (between {numeral(low, '.1f')} and {numeral(high, '.1f')})."
    return Estimate(value, low, high, n, None, method, words, level)


def shape_draws(
    y: NDArray,
    exposure: NDArray,
    label: NDArray,
    x: NDArray,
    beta: NDArray,
    covariance: NDArray,
    n_draws: int,
    rng: np.random.Generator,
) -> NDArray:
    """Coefficients under repetition, shape (n_draws, n_coefficients).

    Whole seasons are drawn with replacement and refitted; with under five seasons, too few to draw from, the
    coefficients are drawn from their normal distribution.
    """
    names, code = np.unique(label, return_inverse=True)
    if names.size < FEW_SEASONS:
        return rng.multivariate_normal(beta, covariance, size=n_draws, method="cholesky")
    times_drawn = rng.multinomial(names.size, np.full(names.size, 1 / names.size), size=n_draws)
    return np.array([_refit(y, exposure, x, beta, weight[code]) for weight in times_drawn])


def _refit(y: NDArray, exposure: NDArray, x: NDArray, beta: NDArray, weight: NDArray) -> NDArray:
    """Weighted Poisson fit by Newton's method from the full fit; the full fit's values if it does not settle."""
    current = beta.copy()
    for _ in range(25):
        mean = exposure * np.exp(np.clip(x @ current, -50, 50))
        score = x.T @ (weight * (y - mean))
        try:
            step = np.linalg.solve((x * (weight * mean)[:, None]).T @ x, score)
        except np.linalg.LinAlgError:
            return beta
        current = current + np.clip(step, -2, 2)
        if np.abs(step).max() < 1e-8:
            return current
    return beta
