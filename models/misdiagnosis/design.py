"""Features of swaps or draft faults as a matrix."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from models.misdiagnosis.features import Feature, check_features

# A category rarer than this many cases is counted with "other".
RARE = 20
OTHER = "other"


@dataclass(frozen=True)
class Encoding:
    """How features become columns: names, per category its levels (the first is the reference), per number mean and sd."""

    features: tuple[Feature, ...]
    levels: dict[str, tuple[str, ...]]
    scale: dict[str, tuple[float, float]]
    names: tuple[str, ...]

    def matrix(self, frame: pd.DataFrame) -> NDArray[np.float64]:
        """Shape (n_rows, n_names): the columns of the frame as numbers; unseen levels count as 'other' or the reference."""
        out = np.zeros((len(frame), len(self.names)))
        at = 0
        for feature in self.features:
            if feature.kind == "number":
                mean, sd = self.scale[feature.name]
                out[:, at] = (pd.to_numeric(frame[feature.name]).to_numpy(float) - mean) / sd
                at += 1
                continue
            levels = self.levels[feature.name]
            code = pd.Categorical(_folded(frame[feature.name], levels), categories=levels).codes
            rows = np.flatnonzero(code > 0)
            out[rows, at + code[rows] - 1] = 1.0
            at += len(levels) - 1
        return out


def select_list(features: Sequence[Feature]) -> str:
    """The features as a SELECT list over swap_case (or draft_fault for case mix). Raises LeakedFeatureError."""
    check_features(features)
    return ", ".join(f'{feature.sql} AS "{feature.name}"' for feature in features)


def encoding_of(frame: pd.DataFrame, features: Sequence[Feature]) -> Encoding:
    """Levels and scales of the frame; the most frequent level of a category is its reference. Raises LeakedFeatureError."""
    check_features(features)
    levels: dict[str, tuple[str, ...]] = {}
    scale: dict[str, tuple[float, float]] = {}
    names: list[str] = []
    for feature in features:
        values = frame[feature.name]
        if feature.kind == "number":
            numbers = pd.to_numeric(values).to_numpy(float)
            sd = float(numbers.std()) if numbers.size else 0.0
            scale[feature.name] = (float(numbers.mean()) if numbers.size else 0.0, sd if sd > 0 else 1.0)
            names.append(feature.name)
            continue
        count = values.astype(str).value_counts()
        kept = sorted(count.index[count >= RARE], key=lambda level: (-count[level], level))
        if (count < RARE).any():
            kept.append(OTHER)
        levels[feature.name] = tuple(dict.fromkeys(kept)) or (OTHER,)
        names += [f"{feature.name} = {level}" for level in levels[feature.name][1:]]
    return Encoding(tuple(features), levels, scale, tuple(names))


def _folded(values: pd.Series, levels: tuple[str, ...]) -> pd.Series:
    text = values.astype(str)
    return text.where(text.isin(levels), OTHER)
