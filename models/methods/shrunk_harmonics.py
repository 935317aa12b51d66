"""The peak of a seasonal curve whose higher harmonics are allowed for, as far as the counts carry them.

Choosing the number of waves first and then believing in it makes the peak's range too narrow: one wave cannot follow a
curve that rises faster than it falls, and a second one that passes its test by chance moves the peak by weeks.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy import linalg

from models.methods.seasonal_shape import harmonic_columns

# How large the k-th wave is, times k squared and against the first: a half-Cauchy distribution with this middle, so that
# years are mostly near one wave, and a clear second wave is believed nonetheless.
TYPICAL_SHARE = 0.1
SHARES = 0.025 * 2.0 ** np.arange(8)
MOST_STEPS = 50
SMALLEST_STEP = 1e-9


def shrunk_harmonics(
    y: NDArray, exposure: NDArray, day: NDArray, extra: NDArray, n_harmonics: int, n_draws: int,
    rng: np.random.Generator,
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:  # fmt: skip
    """Cos, sin coefficients of n_harmonics waves: their mean, shape (2 * n_harmonics,), and draws (n_draws, as many).

    y: counts; exposure: > 0; day: of the year; extra: covariates, shape (n, n_covariates); shapes (n,). More rows than
    2 * n_harmonics + 1 + n_covariates. n_harmonics: 2 or more.
    Poisson regression with normal priors on the waves from the second on: variance falling as k^-4, as the prior of a
    periodic cubic smoothing spline does, its scale relative to the first wave unknown and averaged over (SHARES, weighted by
    their Laplace marginal likelihood). First wave, level and covariates have no prior. The likelihood is divided by
    Fletcher's dispersion, which unlike Pearson's is not carried away by weeks of hardly any exposure.
    Assumes weeks independent given the season, as fit_seasonal does.
    Source: Wahba (1990), Spline Models for Observational Data, section 2.1; Tierney and Kadane (1986), J. Am. Stat.
    Assoc. 81:82 (Laplace); Fletcher (2012), Biometrika 99:230 (dispersion); Gelman (2006), Bayesian Anal. 1:515 (half-Cauchy).
    """
    x = np.column_stack([np.ones(y.size), harmonic_columns(day, n_harmonics), extra])
    n_pairs = 2 * n_harmonics
    none = np.zeros(x.shape[1])
    start = none.copy()
    start[0] = np.log(y.sum() / exposure.sum())
    is_low = np.ones(x.shape[1], dtype=bool)
    is_low[3 : 1 + n_pairs] = False
    one_wave = none.copy()
    one_wave[is_low] = _fit(y, exposure, x[:, is_low], none[is_low], 1.0, start[is_low])[0]
    full = _fit(y, exposure, x, none, 1.0, one_wave)[0]
    dispersion = fletcher_dispersion(y, exposure * np.exp(x @ full), x.shape[1])
    wave = np.repeat(np.arange(1, n_harmonics + 1), 2)[2:]
    amplitude = max(float(np.hypot(*one_wave[1:3])), 1e-3)
    evidence, middles, roots = [], [], []
    for share in SHARES:
        prior_sd = share * amplitude / np.sqrt(2) / wave**2
        precision = none.copy()
        precision[3 : 1 + n_pairs] = prior_sd**-2
        beta, curvature = _fit(y, exposure, x, precision, dispersion, one_wave)
        root = np.linalg.cholesky(curvature)
        log_mean = np.clip(x @ beta, -50, 50)
        fit = float(y @ log_mean - exposure @ np.exp(log_mean)) / dispersion
        relative = share / TYPICAL_SHARE
        # Shares are spaced evenly on the log, hence one more factor of the share.
        prior = np.log(relative / (1 + relative**2)) - np.log(prior_sd).sum() - float(precision @ beta**2) / 2
        evidence.append(fit + prior - float(np.log(np.diag(root)).sum()))
        middles.append(beta)
        roots.append(root)
    weight = np.exp(np.array(evidence) - max(evidence))
    weight /= weight.sum()
    drawn = [
        beta + linalg.solve_triangular(root.T, rng.standard_normal((x.shape[1], n))).T
        for beta, root, n in zip(middles, roots, rng.multinomial(n_draws, weight), strict=True)
    ]
    pairs = slice(1, 1 + n_pairs)
    return (weight @ np.array(middles))[pairs], np.concatenate(drawn)[:, pairs]


def fletcher_dispersion(y: NDArray, mean: NDArray, n_coefficients: int) -> float:
    """Pearson's dispersion over 1 + the mean of (y - mean) / mean; not under 1.

    y: counts, mean: fitted, > 0; shape (n,), n above n_coefficients.
    Source: Fletcher (2012), Biometrika 99:230, for a variance in proportion to the mean.
    """
    pearson = float(((y - mean) ** 2 / mean).sum()) / max(y.size - n_coefficients, 1)
    return max(1.0, pearson / max(1 + float(((y - mean) / mean).mean()), 1e-9))


def _fit(
    y: NDArray, exposure: NDArray, x: NDArray, precision: NDArray, dispersion: float, start: NDArray
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Penalised Poisson fit by Newton's method with halving: coefficients and curvature there."""
    beta = start.copy()

    def loss(at: NDArray) -> float:
        log = np.clip(x @ at, -50, 50)
        return float(exposure @ np.exp(log) - y @ log) / dispersion + float(precision @ at**2) / 2

    def curvature(at: NDArray) -> NDArray[np.float64]:
        mean = exposure * np.exp(np.clip(x @ at, -50, 50)) / dispersion
        return (x * mean[:, None]).T @ x + np.diag(precision + 1e-9)

    now = loss(beta)
    for _ in range(MOST_STEPS):
        mean = exposure * np.exp(np.clip(x @ beta, -50, 50))
        step = np.linalg.solve(curvature(beta), x.T @ (y - mean) / dispersion - precision * beta)
        size = 1.0
        while (then := loss(beta + size * step)) > now + 1e-12 * abs(now) and size > 1e-6:
            size /= 2
        beta, now = beta + size * step, then
        if np.abs(step).max() < SMALLEST_STEP:
            break
    return beta, curvature(beta)
