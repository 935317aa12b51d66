"""The comparison of technicians alone, on fleets drawn as arrays: many fleets in little time, the true prior known.

Of every fleet the cases and hits of each technician are drawn from a known prior; the method sees counts and expected
shares only. It is compared with the truth, with an oracle that knows the prior, and with two rules of thumb.

Run as: python technician_trials.py FLEETS; prints one line of JSON per kind of fleet.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from bars import is_covered, row
from numpy.typing import NDArray
from scipy import special, stats

from models.methods.beta_mixture import mixture_cdf, pooled_mean, pooled_quantile
from models.methods.null_draws import null_grid
from models.methods.shrinkage import fit_null, posterior, select_by_local_fdr

MARGIN, LIMIT, N_DRAWS = 0.08, 0.10, 20
FIRST_SEED = 4101
N_BATCHES = 5


@dataclass(frozen=True)
class Kind:
    """A kind of fleet. Every technician's logit lies around the case mix's: sd ordinary_sd, and weak_share of them by
    weak_gap above it (sd weak_sd). mix_sd: how unlike their case mixes are, on the logit. n_technicians: each fleet.
    """

    weak_share: float = 0.10
    mix_sd: float = 0.0
    middle: float = 0.29
    ordinary_sd: float = 0.17
    weak_gap: float = 1.1
    weak_sd: float = 0.35
    n_technicians: int = 25


KINDS = {
    "weak technicians": Kind(),
    "unequal case mix": Kind(mix_sd=0.5),
    "no weak technician": Kind(weak_share=0.0),
    "hardly weak technicians": Kind(weak_gap=0.7),
}


@dataclass(frozen=True)
class Fleet:
    """hits, cases, expected (share by case mix), truth (share), benchmark (true share of like cases on average)."""

    hits: NDArray
    cases: NDArray
    expected: NDArray
    truth: NDArray
    benchmark: NDArray


def fleet(kind: Kind, rng: np.random.Generator) -> Fleet:
    """One fleet. The case mix's average includes the weak ones, as it does where it is learned from records."""
    k = kind.n_technicians
    mix = special.logit(kind.middle) + kind.mix_sd * rng.standard_normal(k)
    is_weak = rng.random(k) < kind.weak_share
    ordinary = kind.ordinary_sd * rng.standard_normal(k)
    weak = kind.weak_gap + kind.weak_sd * rng.standard_normal(k)
    truth = special.expit(mix + np.where(is_weak, weak, ordinary))
    cases = rng.integers(10, 120, k).astype(float)
    level = kind.weak_share * kind.weak_gap
    benchmark = special.expit(mix + level)
    return Fleet(rng.binomial(cases.astype(int), truth).astype(float), cases, benchmark, truth, benchmark)


def compared(given: Fleet, rng: np.random.Generator) -> dict[str, NDArray]:
    """What the method says: value, low, high, above (probability of an excess over the margin), flagged."""
    weight, a, b, above = [], [], [], np.zeros(given.hits.size)
    fitted = fit_null(given.hits, given.cases, given.expected)
    grid = null_grid(given.hits, given.cases, given.expected, fitted)
    for place in rng.permutation((np.arange(N_DRAWS) + 0.5) / N_DRAWS):
        null = fitted if grid is None else grid.draw(rng, float(place))
        middle, wide, parts = posterior(given.hits, given.cases, given.expected, null)
        above += (1 - mixture_cdf(np.maximum(middle, given.expected) + MARGIN, wide, parts)) / N_DRAWS
        weight += [(1 - wide) / N_DRAWS, wide / N_DRAWS]
        a, b = [*a, parts[0], parts[2]], [*b, parts[1], parts[3]]
    pooled = np.array(weight), np.array(a), np.array(b), np.ones((2 * N_DRAWS, given.hits.size))
    return {
        "value": pooled_mean(*pooled),
        "low": pooled_quantile(0.025, *pooled),
        "high": pooled_quantile(0.975, *pooled),
        "above": above,
        "flagged": select_by_local_fdr(above, LIMIT),
    }


def oracle_above(given: Fleet, kind: Kind) -> NDArray[np.float64]:
    """Probability of an excess over the margin for someone who knows the prior: by quadrature over the logit."""
    mix = special.logit(given.benchmark) - kind.weak_share * kind.weak_gap
    deviation = np.linspace(-1.5, 3.0, 901)
    density = (1 - kind.weak_share) * stats.norm.pdf(deviation, 0, kind.ordinary_sd) + kind.weak_share * stats.norm.pdf(
        deviation, kind.weak_gap, kind.weak_sd
    )
    share = special.expit(mix[:, None] + deviation)
    log = special.xlogy(given.hits[:, None], share) + special.xlog1py((given.cases - given.hits)[:, None], -share)
    chance = density * np.exp(log - log.max(axis=1, keepdims=True))
    is_over = share > (given.benchmark + MARGIN)[:, None]
    return (chance * is_over).sum(axis=1) / chance.sum(axis=1)


def trials(kind: Kind, n_fleets: int, seed: int = FIRST_SEED) -> dict[str, float]:
    """The figures of a kind of fleet over n_fleets fleets.

    coverage of the 95% ranges; squared_error: mean squared error against that of hits over cases; false_discovery:
    share of false flags among all; any_flag: share of fleets with a flag; recall, oracle_recall: share of those with a
    true excess over the margin flagged, by the method and by the oracle by the same rule; ranked_recall,
    top_tenth_recall, two_errors_recall: of the method's probability and of the rules "raw top 10%" and "mean + 2
    standard errors", each with one cut for all fleets, moved in hindsight until its share of false flags is that of the
    method's flags; oracle_rules_recall: the better of the two at the share of false flags of the oracle's;
    limit_recall, limit_rules_recall: of the method's probability and of the better rule, each with its cut moved in
    hindsight to the share of false flags that is allowed; top_tenth_false, two_errors_false: of those rules as they
    stand; two_errors_elsewhere_false: of the latter with the cut that would have held the limit in other fleets, highest
    of the two halves of the fleets, each with the cut of the other.
    """
    rng = np.random.default_rng(seed)
    kept: dict[str, list[NDArray]] = {}
    for _ in range(n_fleets):
        given = fleet(kind, rng)
        found = compared(given, rng)
        raw = given.hits / given.cases
        mean = given.hits.sum() / given.cases.sum()
        row = {
            "held": (found["low"] <= given.truth) & (given.truth <= found["high"]),
            "error": (found["value"] - given.truth) ** 2,
            "raw_error": (raw - given.truth) ** 2,
            "is_over": given.truth > given.benchmark + MARGIN,
            "flagged": found["flagged"],
            "above": found["above"],
            "oracle": select_by_local_fdr(oracle_above(given, kind), LIMIT),
            # The rank of the raw share in its fleet, and how many standard errors it lies over the fleet's mean.
            "rank": stats.rankdata(raw) / raw.size,
            "errors": (raw - mean) / np.sqrt(mean * (1 - mean) / given.cases),
        }
        for name, value in row.items():
            kept.setdefault(name, []).append(value)
    each_fleet = np.array([flagged.any() for flagged in kept["flagged"]])
    all_of = {name: np.concatenate(values) for name, values in kept.items()}
    is_over, flagged = all_of["is_over"], all_of["flagged"]
    own_false = _false(flagged, is_over)
    return {
        "fleets": float(n_fleets),
        "coverage": float(all_of["held"].mean()),
        "squared_error": float(all_of["error"].mean() / all_of["raw_error"].mean()),
        "flags": float(flagged.sum()),
        "false_discovery": own_false,
        "any_flag": float(each_fleet.mean()),
        "recall": _recall(flagged, is_over),
        "ranked_recall": _recall_at(all_of["above"], is_over, own_false),
        "oracle_recall": _recall(all_of["oracle"], is_over),
        "oracle_false": _false(all_of["oracle"], is_over),
        "oracle_rules_recall": max(
            _recall_at(all_of[rule], is_over, _false(all_of["oracle"], is_over)) for rule in ("rank", "errors")
        ),
        "limit_recall": _recall_at(all_of["above"], is_over, LIMIT),
        "limit_rules_recall": max(_recall_at(all_of[rule], is_over, LIMIT) for rule in ("rank", "errors")),
        "top_tenth_recall": _recall_at(all_of["rank"], is_over, own_false),
        "two_errors_recall": _recall_at(all_of["errors"], is_over, own_false),
        "top_tenth_false": _false(all_of["rank"] > 0.9, is_over),
        "two_errors_false": _false(all_of["errors"] > 2, is_over),
        "two_errors_elsewhere_false": _false_elsewhere(all_of["errors"], is_over, n_fleets // 2 * kind.n_technicians),
    }


def rows(rng: np.random.Generator, n_trials: int) -> list[dict[str, Any]]:
    """Rows of the evidence table (see bars.row): a quarter of n_trials fleets of each kind, in five batches, whose
    spread gives the errors."""
    n = max(n_trials // len(KINDS) // N_BATCHES, 10)
    out = []
    for name, kind in KINDS.items():
        batches = [trials(kind, n, int(rng.integers(2**31))) for _ in range(N_BATCHES)]
        of = {key: np.array([batch[key] for batch in batches]) for key in batches[0]}
        given = f"{name}; counts drawn from a known prior"
        if name == "no weak technician":
            out.append(_row(f"any_flag_{name}", f"Fleets in which anybody is marked ({given})", "at most 10%",
                            of["any_flag"], n, lambda value: value <= 0.10, unit="share"))  # fmt: skip
            continue
        rule = np.maximum(of["top_tenth_recall"], of["two_errors_recall"])
        known = of["oracle_recall"] / of["oracle_rules_recall"]
        note = (
            f"Marked here {of['recall'].mean():.1%}; by the raw top tenth {of['top_tenth_recall'].mean():.1%}, by mean "
            f"and two standard errors {of['two_errors_recall'].mean():.1%}, each with its cut moved in hindsight, the "
            f"truth known, until its false marks are as few ({of['false_discovery'].mean():.1%}). As they stand, "
            f"{of['top_tenth_false'].mean():.0%} and {of['two_errors_false'].mean():.0%} of their marks are false; the "
            f"latter with a cut taken from other fleets, up to {of['two_errors_elsewhere_false'].max():.0%}. With every "
            f"cut moved in hindsight to the {LIMIT:.0%} false that are allowed: {of['limit_recall'].mean():.1%} here, "
            f"{of['limit_rules_recall'].mean():.1%} by the better rule. The one who knows the prior, measured as the "
            f"row: {known.mean():.2f} times."
        )
        out += [
            _row(f"false_{name}", f"Marks without an excess over the margin ({given})", "at most 10%",
                 of["false_discovery"], n, lambda value: value <= 0.10, unit="share"),
            _row(f"recall_{name}", f"Share marked of those over the margin, against one who knows the prior ({given})",
                 "at least 0.8 times", of["recall"] / of["oracle_recall"], n, lambda value: value >= 0.8),
            _row(f"rules_{name}", f"The same against the better of two rules of thumb at as many false marks ({given})",
                 "more than 1 times", of["recall"] / rule, n, lambda value: value > 1, note=note),
            _row(f"squared_error_{name}", f"Mean squared error against raw shares ({given})", "at most 0.5 times",
                 of["squared_error"], n, lambda value: value <= 0.5),
            _row(f"coverage_{name}", f"Technicians' rates: 95% range holds the truth ({given})", "93.5 to 96.5%",
                 of["coverage"], n, is_covered, unit="share"),
        ]  # fmt: skip
    return out


def _row(
    name: str, what: str, bar: str, values: NDArray, n: int, judge: Callable[[float], bool], unit: str = "ratio",
    note: str = "",
) -> dict[str, Any]:  # fmt: skip
    value, error = float(values.mean()), float(values.std(ddof=1) / np.sqrt(values.size))
    fleets = n * values.size
    return row(f"trial_{name}".replace(" ", "_"), what, bar, value, error, fleets, judge(value), "fleets", unit, note)


def _false(flagged: NDArray, is_over: NDArray) -> float:
    return float((flagged & ~is_over).sum() / max(flagged.sum(), 1))


def _recall(flagged: NDArray, is_over: NDArray) -> float:
    return float((flagged & is_over).sum() / max(is_over.sum(), 1))


def _recall_at(score: NDArray, is_over: NDArray, false_share: float) -> float:
    """Largest recall of "flag all with at least this score" whose share of false flags is at most false_share."""
    return _recall(score >= _cut_at(score, is_over, false_share), is_over)


def _cut_at(score: NDArray, is_over: NDArray, false_share: float) -> float:
    """Lowest score from which on at most false_share of all are false; infinite where there is none."""
    order = np.argsort(-score, kind="stable")
    hit = np.cumsum(is_over[order])
    number = np.arange(1, order.size + 1)
    is_last_of_tie = np.append(np.diff(score[order]) != 0, True)
    allowed = np.flatnonzero(is_last_of_tie & (1 - hit / number <= false_share))
    return float(score[order[allowed[-1]]]) if allowed.size else float("inf")


def _false_elsewhere(score: NDArray, is_over: NDArray, half: int) -> float:
    """Highest share of false flags in either half, with the cut that holds LIMIT in the other."""
    halves = [(score[part], is_over[part]) for part in (slice(half), slice(half, None))]
    return max(
        _false(one >= _cut_at(*other, LIMIT), is_so)
        for (one, is_so), other in zip(halves, reversed(halves), strict=True)
    )


if __name__ == "__main__":
    for name, kind in KINDS.items():
        print(json.dumps({"kind": name, **trials(kind, int(sys.argv[1]))}), flush=True)
