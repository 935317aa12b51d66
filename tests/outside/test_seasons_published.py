"""A series built from published coefficients; the values themselves: see test_published."""

import numpy as np
import pytest

from models.methods.harmonic_poisson import fit_seasonal
from models.methods.seasonal_shape import YEAR_DAYS


# The series lies exactly on the curve, which statsmodels remarks on.
@pytest.mark.filterwarnings("ignore:Perfect separation")
def test_a_series_built_from_the_published_coefficients_gives_them_back():
    # Our own series from the same published coefficients (intercept 7.2193); checks coefficients, offset and scale.
    month = np.tile(np.arange(12), 14)
    angle = 2 * np.pi * month / 12
    exposure = 1 + 0.1 * np.cos(3 * angle)
    mean = exposure * np.exp(7.2193 + 0.15552 * np.cos(angle) + 0.02237 * np.sin(angle))
    fit = fit_seasonal(mean, exposure, month / 12 * YEAR_DAYS, np.repeat(np.arange(14), 12), max_harmonics=1)
    assert fit.coefficients == pytest.approx([7.2193, 0.15552, 0.02237], abs=1e-8)
    assert 1 + 12 * fit.peak_day.value / YEAR_DAYS == pytest.approx(1.273, abs=5e-4)
