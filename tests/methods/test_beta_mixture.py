"""Quantiles of a mixture of two beta distributions."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import special

from models.methods import beta_mixture
from models.methods.beta_mixture import mixture_cdf, mixture_quantile, mixture_range, pooled_mean, pooled_quantile


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


def test_a_quantile_never_leaves_the_shares() -> None:
    """Shapes so far under 1 that a quantile is closer to an end than numbers can tell."""
    a = np.concatenate([np.linspace(0.003, 0.3, 400), np.full(400, 30.0)])
    for q in (0.025, 0.975):
        x = mixture_quantile(q, np.zeros(800), (a, a[::-1], np.ones(800), np.ones(800)))
        assert ((x >= 0) & (x <= 1)).all()


def test_one_part_alone_has_its_own_quantile() -> None:
    # scipy.special.betaincinv, run here. A library's output.
    a, b = np.array([2.0, 300.0, 0.7]), np.array([5.0, 20.0, 40.0])
    x = mixture_quantile(0.975, np.array([0.0, 0.0, 1.0]), (a, b, a[::-1], b[::-1]))
    expected = special.betaincinv([2.0, 300.0, 2.0], [5.0, 20.0, 5.0], 0.975)
    assert x == pytest.approx(expected, abs=1e-12)


def test_the_search_ends_when_only_rounding_is_left(monkeypatch: pytest.MonkeyPatch) -> None:
    """Newton's method doubles the digits: more than a dozen looks are halvings that began anew at the last digit."""
    looks = []
    cdf = beta_mixture.mixture_cdf
    monkeypatch.setattr(beta_mixture, "mixture_cdf", lambda *given: looks.append(1) or cdf(*given))
    rng = np.random.default_rng(5)
    a, b = rng.uniform(2, 60, 200), rng.uniform(20, 300, 200)
    mixture_quantile(0.025, rng.uniform(0, 0.3, 200), (a, b, a / 3 + 1, b / 3 + 1))
    assert len(looks) <= 12


def test_mean_and_both_ends_are_those_found_one_by_one() -> None:
    rng = np.random.default_rng(6)
    a, b, c, d = (10 ** rng.uniform(0, 3, 300) for _ in range(4))
    wide = rng.random(300)
    value, low, high = mixture_range(wide, (a, b, c, d), 0.9)
    assert value == pytest.approx((1 - wide) * a / (a + b) + wide * c / (c + d), abs=1e-15)
    for q, end in (((1 - 0.9) / 2, low), ((1 + 0.9) / 2, high)):
        assert (end == mixture_quantile(q, wide, (a, b, c, d))).all()


@pytest.mark.parametrize("q", [0.025, 0.975])
def test_the_quantile_of_many_scaled_parts_leads_back_to_its_probability(q: float) -> None:
    rng = np.random.default_rng(4)
    a, b = (10 ** rng.uniform(0, 3, (12, 500)) for _ in range(2))
    weight, scale = rng.dirichlet(np.ones(12), 500).T, rng.uniform(0.5, 1, (12, 500))
    x = pooled_quantile(q, weight, a, b, scale)
    below, above = (
        (weight * special.betainc(a, b, np.clip(at / scale, 0, 1))).sum(axis=0) for at in (x - 1e-6, x + 1e-6)
    )
    assert (below <= q).all() and (above >= q).all()


def test_mean_and_quantile_of_one_scaled_part_are_its_own() -> None:
    one = np.ones((1, 1))
    assert pooled_mean(one, 2 * one, 6 * one, 0.8 * one) == pytest.approx(0.2)
    expected = 0.8 * special.betaincinv(2.0, 6.0, 0.3)
    assert pooled_quantile(0.3, one, 2 * one, 6 * one, 0.8 * one) == pytest.approx(expected, abs=1e-6)
