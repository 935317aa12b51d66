"""Seasonal pattern of a weekly (or monthly) count: Poisson regression on annual harmonics."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import stats

from models.methods.estimate import Estimate, unknown
from models.methods.numeral import numeral
from models.methods.proportion import check_level
from models.methods.seasonal_shape import YEAR_DAYS, harmonic_columns, peak_of, ratio_of, shape_draws
from models.methods.shrunk_harmonics import shrunk_harmonics

METHOD = "Poisson regression on annual harmonics"
NOT_SETTLED = "The cases fall into so few weeks of the year that no curve can be fitted to them."
MONTHS_A_SEASON = 6
MONTHS_IN_ALL = 10
SEASONS_NEEDED = 2


@dataclass(frozen=True)
class SeasonalFit:
    """A fitted seasonal pattern, or the reason why none is claimed (then all numbers are None).

    names, coefficients, standard_errors: intercept, cos/sin pairs, covariates; the errors carry sqrt(dispersion).
    dispersion: Pearson chi-square over its degrees of freedom, not under 1. p_value: quasi-F of all harmonics allowed.
    peak_day: on the scale of day_of_year as given to the fit; where more than one harmonic was allowed, of all of them as
    far as the counts carry them, so that it may lie some days beside the top of the curve of those kept.
    peak_to_trough: highest over lowest point of the curve.
    """

    is_claimed: bool
    reason: str
    n_harmonics: int
    n: int
    n_seasons: int
    peak_day: Estimate
    peak_to_trough: Estimate
    p_value: float | None = None
    dispersion: float | None = None
    deviance: float | None = None
    names: tuple[str, ...] = ()
    coefficients: NDArray = field(default_factory=lambda: np.empty(0))
    standard_errors: NDArray = field(default_factory=lambda: np.empty(0))
    covariance: NDArray = field(default_factory=lambda: np.empty((0, 0)))
    covariate_means: NDArray = field(default_factory=lambda: np.empty(0))
    level: float = 0.95

    def curve(self, day_of_year: ArrayLike) -> tuple[NDArray, NDArray, NDArray]:
        """Rate per unit of exposure on each day, low, high (pointwise), covariates at their means.

        Raises ValueError when no pattern was fitted.
        """
        x = self._design(np.atleast_1d(np.asarray(day_of_year, dtype=float)), None)
        mean = x @ self.coefficients
        half = stats.norm.ppf((1 + self.level) / 2) * np.sqrt(np.einsum("ij,jk,ik->i", x, self.covariance, x))
        return np.exp(mean), np.exp(mean - half), np.exp(mean + half)

    def predict(self, day_of_year: ArrayLike, exposure: ArrayLike, covariates: ArrayLike | None = None) -> NDArray:
        """Expected counts, shape (n,); covariates shape (n, n_covariates) as fitted, None = at their means."""
        days = np.atleast_1d(np.asarray(day_of_year, dtype=float))
        return np.asarray(exposure, dtype=float) * np.exp(self._design(days, covariates) @ self.coefficients)

    def predict_interval(
        self, day_of_year: ArrayLike, exposure: ArrayLike, covariates: ArrayLike | None = None
    ) -> tuple[NDArray, NDArray, NDArray]:
        """Expected counts and the range in which a new count falls with the fit's level.

        The new count has variance dispersion * mean plus the uncertainty of the mean, drawn as negative binomial
        (Poisson where that variance does not exceed the mean). Returns mean, low, high, shape (n,).
        """
        days = np.atleast_1d(np.asarray(day_of_year, dtype=float))
        x = self._design(days, covariates)
        mean = np.asarray(exposure, dtype=float) * np.exp(x @ self.coefficients)
        relative = np.einsum("ij,jk,ik->i", x, self.covariance, x)
        excess = np.maximum(((self.dispersion or 1.0) - 1) * mean + relative * mean**2, 1e-9)
        size, tail = mean**2 / excess, (1 - self.level) / 2
        low, high = (stats.nbinom.ppf(q, size, size / (size + mean)) for q in (tail, 1 - tail))
        return mean, low, high

    def _design(self, days: NDArray, covariates: ArrayLike | None) -> NDArray:
        if self.coefficients.size == 0:
            raise ValueError(f"No seasonal pattern was fitted: {self.reason}")
        if covariates is None:
            extra = np.tile(self.covariate_means, (days.size, 1))
        else:
            extra = np.asarray(covariates, dtype=float).reshape(days.size, -1)
            if extra.shape[1] != self.covariate_means.size:
                raise ValueError(f"covariates: got {extra.shape[1]} columns; the fit has {self.covariate_means.size}.")
        return np.column_stack([np.ones(days.size), harmonic_columns(days, self.n_harmonics), extra])


def fit_seasonal(
    counts: ArrayLike,
    exposure: ArrayLike,
    day_of_year: ArrayLike,
    season: ArrayLike,
    covariates: ArrayLike | None = None,
    max_harmonics: int = 3,
    rng: np.random.Generator | None = None,
    n_boot: int = 400,
    level: float = 0.95,
) -> SeasonalFit:
    """Fit log(mean count) = log(exposure) + intercept + annual harmonics (+ covariates).

    counts: >= 0, shape (n,). exposure: > 0 where used; rows with none are left out. day_of_year: middle of the week or
    month, 1 to 366, may be fractional. season: label of the heating season, shape (n,). covariates: shape
    (n, n_covariates), for example degree days. rng: needed only when more than one harmonic is allowed.
    Harmonics: starting from one, the next is kept while it lowers the deviance by a quasi-F test at 5%.
    Standard errors x sqrt(dispersion). Peak day: delta method where one harmonic only is allowed; else from all that are
    allowed, the higher ones shrunk (models.methods.shrunk_harmonics), whatever number is kept. Ratio: delta method with one
    harmonic kept; with more, whole seasons are drawn with replacement (with under 5 seasons, too few to draw from,
    coefficients are drawn from their normal distribution instead). No pattern is claimed (is_claimed False, `reason` in words) with under two seasons of
    at least 6 months each, covering 10 months of the year, or without any event. With p >= 0.05 the fit is there but
    the peak day is unknown.
    Returns a SeasonalFit. Raises ValueError naming the argument, the value and what is allowed.
    Assumes weeks independent given the season; the dispersion takes up moderate clustering.
    Source: Stolwijk, Straatman and Zielhuis (1999), J. Epidemiol. Community Health 53:235; McCullagh and Nelder (1989),
    section 6.2 (dispersion).
    """
    check_level(level)
    y, w, day, label, extra = _checked(counts, exposure, day_of_year, season, covariates)
    if not 1 <= max_harmonics <= 6:
        raise ValueError(f"max_harmonics: got {max_harmonics}; must lie between 1 and 6.")
    n_seasons, reason = _enough(y, day, label)
    if reason:
        none = unknown(reason, int(y.sum()), method=METHOD)
        return SeasonalFit(False, reason, 0, y.size, n_seasons, none, none, level=level)
    try:
        n_harmonics = _choose(y, w, day, extra, max_harmonics)
        columns = _columns(day, n_harmonics, extra)
        fit = _poisson(y, w, columns)
        p_value = _seasonality_p_value(y, w, day, extra, max_harmonics)
    except (ValueError, np.linalg.LinAlgError):
        # With nothing but zeros in most of the year the best curve lies at infinity, and the fit does not settle.
        none = unknown(NOT_SETTLED, int(y.sum()), method=METHOD)
        return SeasonalFit(False, NOT_SETTLED, 0, y.size, n_seasons, none, none, level=level)
    dispersion = _dispersion(fit)
    covariance = np.asarray(fit.cov_params()) * dispersion
    beta = np.asarray(fit.params)
    pairs = slice(1, 1 + 2 * n_harmonics)
    drawn = None
    if n_harmonics > 1:
        drawn = shape_draws(y, w, label, columns, beta, covariance, n_boot, _needed(rng))[:, pairs]
    n_events = int(y.sum())
    if p_value < 0.05 and max_harmonics > 1:
        waves, tried = shrunk_harmonics(y, w, day, extra, max_harmonics, n_boot, _needed(rng))
        peak = peak_of(waves, covariance, tried, n_events, level, METHOD)
    elif p_value < 0.05:
        peak = peak_of(beta[pairs], covariance[pairs, pairs], None, n_events, level, METHOD)
    else:
        peak = unknown(f"No season stands out from chance (p = {numeral(p_value, '.2f')}).", n_events, method=METHOD)
    ratio = ratio_of(beta[pairs], covariance[pairs, pairs], drawn, n_events, level, METHOD)
    pair_names = [f"{f}{k}" for k in range(1, n_harmonics + 1) for f in ("cos", "sin")]
    return SeasonalFit(
        is_claimed=p_value < 0.05,
        reason="" if p_value < 0.05 else peak.sentence,
        n_harmonics=n_harmonics,
        n=y.size,
        n_seasons=n_seasons,
        peak_day=peak,
        peak_to_trough=ratio,
        p_value=p_value,
        dispersion=dispersion,
        deviance=float(fit.deviance),
        names=("intercept", *pair_names, *(f"covariate{i + 1}" for i in range(extra.shape[1]))),
        coefficients=beta,
        standard_errors=np.sqrt(np.diag(covariance)),
        covariance=covariance,
        covariate_means=extra.mean(axis=0),
        level=level,
    )


def _needed(rng: np.random.Generator | None) -> np.random.Generator:
    if rng is None:
        raise ValueError("rng: got None; give a numpy Generator, since more than one harmonic needs random draws.")
    return rng


def _checked(counts, exposure, day_of_year, season, covariates) -> tuple[NDArray, ...]:  # type: ignore[no-untyped-def]
    y = np.asarray(counts, dtype=float).ravel()
    w = np.asarray(exposure, dtype=float).ravel()
    day = np.asarray(day_of_year, dtype=float).ravel()
    label = np.asarray(season).ravel().astype(str)
    extra = np.empty((y.size, 0)) if covariates is None else np.asarray(covariates, dtype=float).reshape(y.size, -1)
    if not y.size == w.size == day.size == label.size:
        raise ValueError(
            f"counts, exposure, day_of_year, season: got {y.size}, {w.size}, {day.size}, {label.size} values; "
            "must be as many."
        )
    if (~(y >= 0)).any():
        raise ValueError(f"counts: got {y[~(y >= 0)][0]:g}; must be 0 or more.")
    if (~((day >= 0) & (day <= 367))).any():
        raise ValueError(f"day_of_year: got {day[~((day >= 0) & (day <= 367))][0]:g}; must lie between 1 and 366.")
    keep = (w > 0) & np.isfinite(extra).all(axis=1)
    return y[keep], w[keep], day[keep], label[keep], extra[keep]


def _enough(y: NDArray, day: NDArray, label: NDArray) -> tuple[int, str]:
    """How many seasons count, and why that is not enough ("" if it is)."""
    month = np.minimum(day / YEAR_DAYS * 12, 11.99).astype(int)
    months_by_season = [np.unique(month[label == s]).size for s in np.unique(label)]
    n_seasons = sum(m >= MONTHS_A_SEASON for m in months_by_season)
    if n_seasons < SEASONS_NEEDED:
        found = "Only one heating season is" if n_seasons else "Not one whole heating season is"
        return n_seasons, f"{found} on record; two are needed before a pattern can be claimed."
    if np.unique(month).size < MONTHS_IN_ALL:
        return n_seasons, f"Only {np.unique(month).size} months of the year have records; {MONTHS_IN_ALL} are needed."
    if y.sum() == 0:
        return n_seasons, "No fault of this kind was recorded."
    return n_seasons, ""


def _columns(day: NDArray, n_harmonics: int, extra: NDArray) -> NDArray:
    return np.column_stack([np.ones(day.size), harmonic_columns(day, n_harmonics), extra])


def _poisson(y: NDArray, exposure: NDArray, x: NDArray):  # type: ignore[no-untyped-def]
    import statsmodels.api as sm

    return sm.GLM(y, x, family=sm.families.Poisson(), offset=np.log(exposure)).fit()


def _dispersion(fit) -> float:  # type: ignore[no-untyped-def]
    return max(1.0, float(fit.pearson_chi2) / max(float(fit.df_resid), 1.0))


def _quasi_f(drop: float, n_terms: int, dispersion: float, df_resid: float) -> float:
    return float(stats.f.sf(max(drop, 0.0) / n_terms / dispersion, n_terms, max(df_resid, 1.0)))


def _seasonality_p_value(y: NDArray, w: NDArray, day: NDArray, extra: NDArray, max_harmonics: int) -> float:
    """Quasi-F of all harmonics that may be used against none.

    Testing only the harmonics that the data picked would claim a season too often where there is none.
    """
    null, full = (_poisson(y, w, _columns(day, k, extra)) for k in (0, max_harmonics))
    return _quasi_f(null.deviance - full.deviance, 2 * max_harmonics, _dispersion(full), full.df_resid)


def _choose(y: NDArray, w: NDArray, day: NDArray, extra: NDArray, max_harmonics: int) -> int:
    """Number of harmonics: one more while it passes the quasi-F test at 5%."""
    kept = _poisson(y, w, _columns(day, 1, extra))
    for k in range(2, max_harmonics + 1):
        more = _poisson(y, w, _columns(day, k, extra))
        if _quasi_f(kept.deviance - more.deviance, 2, _dispersion(more), more.df_resid) >= 0.05:
            return k - 1
        kept = more
    return max_harmonics
