"""The model card: what the classifier is, what it looks at, and how far to trust it."""

from __future__ import annotations

from typing import Any

from models.misdiagnosis.classifier import PRIOR_SD, Classifier
from models.misdiagnosis.features import Feature
from models.misdiagnosis.validation import N_BLOCKS, Validation

PURPOSE = (
    "The probability that a removed switch was good, for switches nobody tested. It says where to look first; it is no verdict "
    "on a switch or a person, and who the technician is, is not among its inputs."
)


def refused_card(reason: str, n_good: int, n_faulty: int) -> dict[str, Any]:
    """The card when there is no model."""
    return {
        "is_available": False,
        "reason": reason,
        "purpose": PURPOSE,
        "n": n_good + n_faulty,
        "n_good": n_good,
        "n_faulty": n_faulty,
    }


def model_card(
    diagnosis: Classifier, case_mix: Classifier, validation: Validation, case_mix_validation: Validation,
    n_good: int, n_faulty: int, dates: tuple[str, str], largest_weight: float,
) -> dict[str, Any]:  # fmt: skip
    """The card of the two models. Numbers are None where they could not be worked out."""
    return {
        "is_available": True,
        "reason": "",
        "purpose": PURPOSE,
        "method": "logistic regression with a quadratic penalty, inverse testing-probability weights",
        "penalty_c": PRIOR_SD["diagnosis"] ** 2,
        "prior_sd": dict(PRIOR_SD),
        "n": n_good + n_faulty,
        "n_good": n_good,
        "n_faulty": n_faulty,
        "first_on": dates[0],
        "last_on": dates[1],
        "largest_weight": largest_weight,
        "validation": f"{N_BLOCKS} blocks in order of time; each predicted from those before it, the first one long enough for a model",
        "recalibration": "slope from predictions of later blocks; intercept so that scores add up to the adjusted rate",
        "base_rate": validation.base_rate,
        "n_validated": validation.n,
        "brier_skill": validation.brier_skill,
        "calibration_slope": validation.slope,
        "calibration_slope_error": validation.slope_error,
        "calibration_error": validation.calibration_error,
        "calibration_table": [
            {"predicted": float(row[0]), "observed": float(row[1]), "n": int(row[3])} for row in validation.table
        ],
        "case_mix_brier_skill": case_mix_validation.brier_skill,
        "features": [_feature(feature, diagnosis) for feature in diagnosis.encoding.features],
        "case_mix_features": [feature.name for feature in case_mix.encoding.features],
    }


def _feature(feature: Feature, classifier: Classifier) -> dict[str, Any]:
    """One feature with its weights on the logit (numbers: per standard deviation; categories: against the first level)."""
    weights = {
        name: float(value)
        for name, value in zip(classifier.encoding.names, classifier.coefficients[1:], strict=True)
        if name == feature.name or name.startswith(f"{feature.name} = ")
    }
    return {
        "name": feature.name,
        "about": feature.about,
        "group": feature.group,
        "known_at": feature.known_at,
        "reference": classifier.encoding.levels.get(feature.name, ("",))[0],
        "weights": weights,
    }
