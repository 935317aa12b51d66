"""The probability, for every swap, that the removed switch was good."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import duckdb
import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import special

from models.figures.scope import Scope
from models.figures.strata import is_conclusive, swaps_for_rate
from models.methods.numeral import numeral
from models.misdiagnosis.classifier import Classifier, prior_of, train
from models.misdiagnosis.design import encoding_of, select_list
from models.misdiagnosis.features import CASE_MIX, DIAGNOSIS, Feature
from models.misdiagnosis.model_card import model_card, refused_card
from models.misdiagnosis.redraw import Redraw
from models.misdiagnosis.testing import balancing_weight
from models.misdiagnosis.validation import (
    FEWEST_LABELS,
    FEWEST_OF_A_CLASS,
    Validation,
    recalibrate,
    rolling_origin,
    validate,
)

# A tested switch speaks for at most this many times the typical number, so that a few cannot carry the fit.
LARGEST_WEIGHT = 20.0
# How often the model is drawn anew.
N_DRAWS = 20
SCORE_COLUMNS = (
    "swap_id", "draft_fault_id", "technician_id", "verdict", "probability_good", "low", "high", "expected_from_case_mix", "logit",
    "logit_sd",
)  # fmt: skip


@dataclass(frozen=True)
class Scores:
    """Scores of all swaps.

    swap_score: DataFrame[swap_id, draft_fault_id, technician_id (who diagnosed), verdict, probability_good, low, high,
    expected_from_case_mix, logit, logit_sd], ordered by swap_id. probability_good is the model's, also where a bench
    result is known; low, high: 95% range of that probability; NaN in every row when there is no model.
    model_card: see models.misdiagnosis.model_card. is_available: whether there is a model. sentence: in words.
    logit_draws: DataFrame of 20 columns (float32), rows as swap_score: the logits as other labels might have made them,
    all rows of a column together; no rows when there is no model. Drawn by the random seed of the settings.
    """

    swap_score: pd.DataFrame
    model_card: dict[str, Any]
    is_available: bool
    sentence: str
    logit_draws: pd.DataFrame

    def rows_of(self, swap_ids: pd.Series) -> NDArray[np.intp]:
        """The row of swap_score of each swap; -1 where it was not scored."""
        return self._by_swap.get_indexer(pd.Index(swap_ids))

    def places_among(self, fault_ids: pd.Series) -> NDArray[np.intp]:
        """For each row of swap_score, the place of its draft fault among these, which differ; -1 where it is not there."""
        code, known = self._faults
        found = known.get_indexer(pd.Index(fault_ids))
        # One more at the end, for rows whose draft fault has no code.
        place = np.full(len(known) + 1, -1)
        place[found[found >= 0]] = np.flatnonzero(found >= 0)
        return place[code]

    # Looked into for every branch somebody asks for: with the ids of all swaps hashed once, a branch costs what it holds.
    @cached_property
    def _by_swap(self) -> pd.Index:
        return _hashed(self.swap_score["swap_id"])

    @cached_property
    def _faults(self) -> tuple[NDArray, pd.Index]:
        code, known = pd.factorize(self.swap_score["draft_fault_id"])
        return code, _hashed(known)


def _hashed(ids: Any) -> pd.Index:
    """An index whose table of hashes is there already, since readers in several threads look into it."""
    index = pd.Index(ids)
    if not index.is_unique:
        raise ValueError("ids: some stand twice.")
    return index


def score_swaps(
    con: duckdb.DuckDBPyConnection,
    scope: Scope,
    settings: Any,
    features: Sequence[Feature] = (*CASE_MIX, *DIAGNOSIS),
) -> Scores:
    """Train, validate, calibrate and score every swap of the scope.

    Labels: bench results good or faulty; inconclusive ones and untested switches are scored only. Weights: one
    over the probability of being tested, estimated from what was known before, or as recorded for a random draw. No model
    with under
    60 labels or under 15 of either kind.
    Raises LeakedFeatureError when a feature is not known at the visit's close or names a person.
    """
    columns = select_list(features)
    swaps = swaps_for_rate(con, scope, settings)
    condition, values = scope.where("swapped_on")
    rows = con.execute(
        f"SELECT swap_id, draft_fault_id, diagnosed_by AS technician_id, verdict, swapped_at, {columns} FROM swap_case "
        f"WHERE {condition} ORDER BY swap_id",
        values,
    ).df()
    labelled = is_conclusive(swaps)
    is_good = (swaps["verdict"] == "good").to_numpy(bool)
    n_good, n_faulty = int((labelled & is_good).sum()), int((labelled & ~is_good).sum())
    reason = _too_few(n_good, n_faulty)
    if reason:
        return Scores(_unscored(rows), refused_card(reason, n_good, n_faulty), False, reason, _drawn(None, 0))
    weight, anchor, largest = _weights(swaps, labelled)
    order = np.flatnonzero(labelled)
    order = order[np.lexsort((rows["swap_id"].to_numpy(str)[order], rows["swapped_at"].to_numpy()[order]))]
    case_mix = [feature for feature in features if feature.group == "case_mix"]
    full, logit, sd, validation, redraw = _fitted(rows, features, order, is_good, weight, anchor)
    expected, expected_logit, _, expected_validation, _ = _fitted(rows, case_mix, order, is_good, weight, anchor)
    scored = rows[["swap_id", "draft_fault_id", "technician_id", "verdict"]].copy()
    scored["probability_good"] = special.expit(logit)
    scored["low"], scored["high"] = special.expit(logit - 1.96 * sd), special.expit(logit + 1.96 * sd)
    scored["expected_from_case_mix"] = special.expit(expected_logit)
    scored["logit"], scored["logit_sd"] = logit, sd
    days = pd.to_datetime(rows["swapped_at"].iloc[order]).dt.date
    dates = (str(days.iloc[0]), str(days.iloc[-1]))
    draws = _drawn(redraw, int(settings.random_seed))
    card = model_card(full, expected, validation, expected_validation, n_good, n_faulty, dates, largest)
    return Scores(scored[list(SCORE_COLUMNS)], card, True, _sentence(validation, n_good + n_faulty), draws)


def _fitted(
    rows: pd.DataFrame,
    features: Sequence[Feature],
    order: NDArray,
    is_good: NDArray,
    weight: NDArray,
    anchor: NDArray,
) -> tuple[Classifier, NDArray, NDArray, Validation, Redraw]:
    """A model trained on all labels, its slope from predictions of later blocks; logit and its error for every row."""
    encoding = encoding_of(rows, features)
    x = encoding.matrix(rows)
    y, w, open_weight = is_good[order].astype(float), weight[order], anchor[order]
    prior_sd = prior_of(encoding)
    rolling = rolling_origin(x[order], y, w, prior_sd)
    model = train(x[order], is_good[order], w, encoding)
    logit = model.logit(x)
    change = recalibrate(rolling.logit, logit[order], y, w, open_weight)
    sd = change.logit_sd(logit, model.logit_sd(x))
    redraw = Redraw(x, order, y, w, open_weight, model.coefficients, model.precision, prior_sd, rolling.logit)
    return model, change.apply(logit), sd, validate(rolling, y, w), redraw


def _drawn(redraw: Redraw | None, seed: int) -> pd.DataFrame:
    names = [f"draw_{number:02d}" for number in range(1, N_DRAWS + 1)]
    if redraw is None:
        return pd.DataFrame({name: np.empty(0, dtype=np.float32) for name in names})
    rng = np.random.default_rng(seed)
    return pd.DataFrame({name: redraw.logits(rng).astype(np.float32) for name in names})


def _weights(swaps: pd.DataFrame, labelled: NDArray) -> tuple[NDArray, NDArray, float]:
    """Per swap, for how many switches, and for how many untested ones, a tested one speaks; the largest of the former.

    In typical ones, capped.
    """
    weight = balancing_weight(swaps, labelled)
    probability = swaps["selection_probability"].to_numpy(float, na_value=np.nan)
    is_drawn = labelled & (swaps["selection"] == "random").to_numpy(bool) & (probability > 0)
    if is_drawn[labelled].all():
        weight[is_drawn] = 1 / probability[is_drawn]
    typical = float(np.median(weight[labelled]))
    anchor = np.minimum(np.maximum(weight - 1, 0.0) / typical, LARGEST_WEIGHT)
    weight = np.minimum(weight / typical, LARGEST_WEIGHT)
    return weight, anchor, float(weight[labelled].max())


def _too_few(n_good: int, n_faulty: int) -> str:
    n = n_good + n_faulty
    if n >= FEWEST_LABELS and min(n_good, n_faulty) >= FEWEST_OF_A_CLASS:
        return ""
    return (
        f"No model yet: {n} switch{' has' if n == 1 else 'es have'} a clear bench result ({n_good} good, {n_faulty} faulty); it needs {FEWEST_LABELS}, "
        f"with at least {FEWEST_OF_A_CLASS} of either kind. Field evidence is shown instead."
    )


def _unscored(rows: pd.DataFrame) -> pd.DataFrame:
    out = rows[["swap_id", "draft_fault_id", "technician_id", "verdict"]].copy()
    for column in SCORE_COLUMNS[4:]:
        out[column] = np.nan
    return out


def _sentence(validation: Validation, n: int) -> str:
    start = f"Learned from {numeral(n)} switches with a clear bench result"
    if validation.brier_skill is None:
        return f"{start}; too few later ones to say how well it predicts."
    told = "better than" if validation.brier_skill > 0 else "no better than"
    return f"{start}; on later switches it was {told} the plain rate (skill {numeral(validation.brier_skill, '.2f')})."
