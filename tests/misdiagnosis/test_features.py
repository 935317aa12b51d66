"""What the classifier may look at: nothing that becomes known later, and nobody's identity."""

from __future__ import annotations

import numpy as np
import pytest

from models.figures.scope import Scope
from models.misdiagnosis.classifier import train
from models.misdiagnosis.design import Encoding, select_list
from models.misdiagnosis.features import CASE_MIX, COLUMN_KNOWN_AT, DIAGNOSIS, REGISTRY, Feature, LeakedFeatureError
from models.misdiagnosis.scores import score_swaps

EVERYTHING = Scope()


@pytest.mark.parametrize("column", [name for name, at in COLUMN_KNOWN_AT.items() if at in ("later", "identity")])
def test_a_leaked_feature_makes_training_fail(fleet, settings, column):
    leaked = Feature("leaked", "category", "diagnosis", f"coalesce({column}, 'none')", "leak")
    with pytest.raises(LeakedFeatureError, match=column):
        score_swaps(fleet[0], EVERYTHING, settings, (*CASE_MIX, leaked))


@pytest.mark.parametrize(
    "sql", ["callback_days", "s.callback_days", '"verdict"', "p_conform", "CASE WHEN verdict = 'good' THEN 1 END"]
)
def test_columns_not_on_the_list_are_refused_however_they_are_written(sql):
    with pytest.raises(LeakedFeatureError):
        select_list([Feature("hidden", "number", "diagnosis", sql, "leak")])


def test_a_later_column_under_a_listed_name_is_refused():
    with pytest.raises(LeakedFeatureError):
        select_list([Feature("region", "category", "case_mix", "coalesce(claim_outcome, '')", "leak")])
    with pytest.raises(LeakedFeatureError, match="not on the list"):
        select_list([Feature("new_one", "category", "case_mix", "region", "fine in time, but not registered")])


def test_training_itself_checks_not_only_the_query():
    leaked = Feature("leaked", "number", "diagnosis", "p_conform", "leak")
    encoding = Encoding((leaked,), {}, {"leaked": (0.0, 1.0)}, ("leaked",))
    with pytest.raises(LeakedFeatureError):
        train(np.zeros((4, 1)), np.array([True, False, True, False]), np.ones(4), encoding)


def test_every_registered_feature_is_known_in_time_and_exists(store):
    store.execute(f"SELECT {select_list(list(REGISTRY.values()))} FROM swap_case")
    store.execute(f"SELECT {select_list(CASE_MIX)} FROM draft_fault")
    assert {feature.known_at for feature in CASE_MIX} == {"before"}
    assert {feature.known_at for feature in DIAGNOSIS} <= {"before", "visit_close"}


def test_who_it_was_is_not_among_the_features():
    words = " ".join(feature.sql for feature in REGISTRY.values())
    for name in ("technician_id", "diagnosed_by", "owner_id", "branch", "site_id"):
        assert name not in words
