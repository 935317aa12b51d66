"""The comparison of technicians on fleets drawn as arrays: ranges, error, flags, against an oracle and rules of thumb.

The bars are those of the long form; every judgement allows for the number of fleets, as in test_known_truth.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

sys.path.insert(0, str(Path(__file__).parent))
from technician_trials import KINDS, trials

pytestmark = pytest.mark.recovery

N_FLEETS = 100


@pytest.fixture(scope="module")
def found() -> dict[str, dict[str, float]]:
    return {name: trials(kind, N_FLEETS) for name, kind in KINDS.items()}


def at_most(share: float, n: float) -> float:
    """Largest share among n that chance explains at 1% where each has this chance."""
    return float(stats.binom.ppf(0.99, int(n), share) / n)


@pytest.mark.parametrize("name", list(KINDS))
def test_ranges_hold_the_truth_and_the_error_is_halved(found, name):
    row = found[name]
    # Technicians of one fleet share their null: a range of twice the plain binomial's width.
    slack = 2 * 2.33 * np.sqrt(0.95 * 0.05 / (N_FLEETS * KINDS[name].n_technicians))
    assert 0.935 - slack <= row["coverage"] <= 0.965 + slack
    assert row["squared_error"] <= 0.5


@pytest.mark.parametrize("name", [name for name, kind in KINDS.items() if kind.weak_share > 0])
def test_flags_are_rarely_false_and_find_nearly_what_the_oracle_finds(found, name):
    row = found[name]
    assert row["flags"] >= 50
    assert row["false_discovery"] <= at_most(0.10, row["flags"])
    assert row["recall"] >= 0.8 * row["oracle_recall"]


def test_a_fleet_without_weak_technicians_is_rarely_flagged(found):
    assert found["no weak technician"]["any_flag"] <= at_most(0.10, N_FLEETS)


@pytest.mark.parametrize("name", ["weak technicians", "unequal case mix"])
def test_rules_of_thumb_find_less_at_the_same_share_of_false_flags(name):
    row = trials(KINDS[name], 2 * N_FLEETS, seed=77)
    assert row["ranked_recall"] > row["two_errors_recall"]
    assert row["recall"] > row["top_tenth_recall"]
    # As they stand, both flag far too many.
    assert min(row["top_tenth_false"], row["two_errors_false"]) > 0.15
