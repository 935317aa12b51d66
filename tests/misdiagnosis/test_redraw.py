"""Scores drawn anew: as wide as the labels leave them uncertain, like switches together, and balanced weights."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from scipy import special

from models.figures.pulls import good_pulls
from models.figures.scope import Scope
from models.misdiagnosis.classifier import fit_logistic
from models.misdiagnosis.redraw import Redraw
from models.misdiagnosis.scores import score_swaps
from models.misdiagnosis.testing import balancing_weight


def redraw_of(x, labelled, y, prior_sd) -> Redraw:
    w = np.ones(y.size)
    beta = fit_logistic(x[labelled], y, w, prior_sd)
    full = np.column_stack([np.ones(y.size), x[labelled]])
    p = special.expit(full @ beta)
    precision = (full * (p * (1 - p))[:, None]).T @ full + np.diag(np.append(1e-9, 1 / prior_sd**2))
    return Redraw(x, labelled, y, w, w, beta, precision, prior_sd, np.full(y.size, np.nan))


def test_draws_spread_as_repeated_labelling_would():
    rng = np.random.default_rng(90)
    x = np.column_stack([rng.integers(0, 2, 900), rng.normal(size=900)]).astype(float)
    y = (rng.random(600) < special.expit(0.5 + x[:600] @ [1.0, -0.7])).astype(float)
    redraw = redraw_of(x, np.arange(600), y, np.full(2, 2.0))
    drawn = np.array([redraw.logits(rng, slice(600, 900)) for _ in range(200)])
    full = np.column_stack([np.ones(900), x])
    covariance = np.linalg.inv(redraw.precision)
    expected = np.sqrt(np.einsum("ij,jk,ik->i", full, covariance, full))[600:]
    assert drawn.std(axis=0).mean() == pytest.approx(expected.mean(), rel=0.15)
    # Like switches move alike: the two kinds do not share all of their error.
    like = np.corrcoef(drawn.T)
    kind = x[600:, 0] == 1
    assert like[np.ix_(kind, kind)].mean() > like[np.ix_(kind, ~kind)].mean() + 0.2


def test_a_kind_without_labels_is_as_uncertain_as_its_prior():
    rng = np.random.default_rng(91)
    x = np.zeros((401, 1))
    x[400] = 1.0
    y = (rng.random(400) < 0.7).astype(float)
    redraw = redraw_of(x, np.arange(400), y, np.full(1, 2.0))
    drawn = np.array([redraw.logits(rng, np.array([0, 400])) for _ in range(300)])
    assert drawn[:, 0].std() < 0.2
    assert drawn[:, 1].std() == pytest.approx(2.0, rel=0.15)


def test_a_draw_of_pulls_agrees_with_the_scores_on_average(fleet, settings):
    con, _ = fleet
    pulls = good_pulls(con, Scope(), score_swaps(con, Scope(), settings))
    rng = np.random.default_rng(92)
    drawn = [pulls.draw_both(rng) for _ in range(60)]
    hits, faulty = (np.mean(part, axis=0) for part in zip(*drawn, strict=True))
    assert hits.sum() == pytest.approx(pulls.probability().sum(), rel=0.04)
    pulled = con.execute("SELECT count(DISTINCT draft_fault_id) FROM swap_case").fetchone()[0]
    assert hits.sum() + faulty.sum() == pytest.approx(pulled)
    assert (pulls.by_technician()["draft_fault_visits"].to_numpy() >= hits + faulty).all()
    again = pulls.draw(np.random.default_rng(5))
    assert np.array_equal(again, pulls.draw(np.random.default_rng(5)))


def test_weighted_tested_switches_have_the_make_up_of_all():
    rng = np.random.default_rng(93)
    n = 4000
    swaps = pd.DataFrame(
        {
            "evidence": rng.choice(["for", "against", "none"], n, p=[0.15, 0.35, 0.5]),
            "cause": rng.choice(["blamed", "other"], n),
            "returned": "not returned",
            "season": rng.choice(["2023", "2024"], n),
            "branch": rng.choice(["North", "South", "West"], n),
        }
    )
    is_rare = (swaps["evidence"] == "for") & (swaps["cause"] == "blamed")
    tested = rng.random(n) < np.where(is_rare, 0.04, np.where(swaps["branch"] == "West", 0.2, 0.5))
    weight = balancing_weight(swaps, tested)
    assert (weight >= 1).all()
    for key in ("evidence", "cause", "season", "branch"):
        share = swaps[key].value_counts(normalize=True)
        mine = pd.Series(weight[tested]).groupby(swaps[key][tested].to_numpy()).sum() / weight[tested].sum()
        assert (mine - share).abs().max() < 0.01, key
    held = weight[tested & is_rare].sum() / weight[tested].sum()
    assert held == pytest.approx(is_rare.mean(), rel=0.1)
    assert abs((tested & is_rare).sum() / tested.sum() - is_rare.mean()) > 0.05


def test_all_tested_weigh_alike():
    swaps = pd.DataFrame(dict.fromkeys(("evidence", "cause", "returned", "season", "branch"), ["a", "b", "a"]))
    assert balancing_weight(swaps, np.ones(3, dtype=bool)) == pytest.approx(np.ones(3), abs=1e-3)
