"""Quantiles of a mixture of two beta distributions."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import special

from models.methods.beta_mixture import mixture_cdf, mixture_quantile


@pytest.mark.parametrize("q", [0.025, 0.5, 0.975])
def test_the_quantile_leads_back_to_its_probability(q: float) -> None:
    rng = np.random.default_rng(3)
    # Flat, steep, two-humped with a gap between, shapes under 1 (infinite density at the ends): all kinds together.
    a, b, c, d = (10 ** rng.uniform(low, 4, 4000) for low in (-0.5, -0.5, 0, 0))
    wide = np.concatenate([rng.random(3998), [0.0, 1.0]])
    x = mixture_quantile(q, wide, (a, b, c, d))
    parts = (a, b, c, d)
    # A shade either side: where the density is infinite, no nearer share can be told apart.
    assert (mixture_cdf(x - 1e-13, wide, parts) <= q).all()
    assert (mixture_cdf(x + 1e-13, wide, parts) >= q).all()


def test_one_part_alone_has_its_own_quantile() -> None:
    # scipy.special.betaincinv, run here. A library's output.
    a, b = np.array([2.0, 300.0, 0.7]), np.array([5.0, 20.0, 40.0])
    x = mixture_quantile(0.975, np.array([0.0, 0.0, 1.0]), (a, b, a[::-1], b[::-1]))
    expected = special.betaincinv([2.0, 300.0, 2.0], [5.0, 20.0, 5.0], 0.975)
    assert x == pytest.approx(expected, abs=1e-12)
