"""The promises of the figures against what the simulated fleets and the trials gave: rows of the evidence table.

A row: id, what, bar (in words), value, unit ('share', 'points', 'ratio', 'per point'), error (Monte-Carlo standard error),
n (what it rests on), n_of (of what), is_held, note. Coverage is judged against the long run (see long_run.py), the
technicians' against their true rates.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import numpy as np
from sklearn.linear_model import LogisticRegression

COVERAGE = (0.935, 0.965)
MARGIN = 0.08
# Of the labels drawn to see what chance alone does.
CHANCE_SEED = 7
YEAR_DAYS = 365.25
Row = dict[str, Any]


def row(
    name: str, what: str, bar: str, value: float, error: float, n: int, is_held: bool, n_of: str = "fleets",
    unit: str = "share", note: str = "",
) -> Row:  # fmt: skip
    return {
        "id": name, "what": what, "bar": bar, "value": round(float(value), 5), "unit": unit,
        "error": round(float(error), 5), "n": int(n), "n_of": n_of, "is_held": bool(is_held), "note": note,
    }  # fmt: skip


def all_rows(fleets: list[dict[str, Any]]) -> list[Row]:
    """Every row that rests on whole fleets; fleets of other kinds than 'usual' have rows of their own."""
    usual = [f for f in fleets if f["kind"] == "usual"]
    rows: list[Row] = []
    if usual:
        rows += [*coverage_rows(usual), *bias_rows(usual), *technician_rows(usual), *classifier_rows(usual)]
    by_result = [f for f in fleets if f["kind"] == "by_result"]
    if by_result:
        held = [f["bounds"]["low"] <= f["bounds"]["truth"] <= f["bounds"]["high"] for f in by_result]
        rows.append(share_row(
            "bounds_fleets", "Bounds hold the true rate when testing depended on the result (whole fleets)", "at least 99%",
            held, np.mean(held) >= 0.99))  # fmt: skip
    quiet = [f for f in fleets if f["kind"] == "no_weak"]
    if quiet:
        any_flag = [any(t["is_flagged"] for t in f["technicians"]) for f in quiet]
        rows.append(share_row(
            "flags_no_weak", "Fleets without a weak technician in which anybody is marked", "at most 10%", any_flag,
            np.mean(any_flag) <= 0.10))  # fmt: skip
    return rows


def coverage_rows(fleets: list[dict[str, Any]]) -> list[Row]:
    names = {
        "good_switch_rate": "Adjusted good-switch rate: 95% range holds the truth",
        "callbacks_with_cause": "Callbacks within 30 days, root cause recorded: 95% range holds the truth",
        "callbacks_without_cause": "Callbacks within 30 days, no root cause: 95% range holds the truth",
        "peak_condensate": "Peak day of condensate faults: 95% range holds the truth",
        "peak_blockage": "Peak day of blockage faults: 95% range holds the truth",
    }
    out = []
    for name, what in names.items():
        known = [f for f in fleets if f[name]["value"] is not None]
        held = [_holds(f[name], f["long_run"].get(name, f[name]["truth"])) for f in known]
        n_not = len(fleets) - len(known)
        note = f"Not given in {n_not} fleets. " if n_not else ""
        if name.startswith("callbacks"):
            note += _width_note(known, name)
        else:
            note += _days_note(known, name) if name.startswith("peak") else ""
        rate = float(np.mean(held)) if held else float("nan")
        out.append(share_row(f"coverage_{name}", what, "93.5 to 96.5%", held, is_covered(rate), note=note.strip()))
    people = [_known_people(f) for f in fleets]
    held = [t["low"] <= t["truth"] <= t["high"] for fleet in people for t in fleet]
    rate, error = _clustered([[t["low"] <= t["truth"] <= t["high"] for t in fleet] for fleet in people])
    out.append(row(
        "coverage_technicians", "Technicians' rates (5 draft faults or more): 95% range holds the truth", "93.5 to 96.5%",
        rate, error, len(held), is_covered(rate), "technicians"))  # fmt: skip
    return out


def bias_rows(fleets: list[dict[str, Any]]) -> list[Row]:
    def error_of(name: str, truth: str) -> np.ndarray:
        known = [f for f in fleets if f[name]["value"] is not None]
        return np.array([f[name]["value"] - f["long_run"][truth] for f in known])

    naive, adjusted = error_of("tested_only", "good_switch_rate"), error_of("good_switch_rate", "good_switch_rate")
    out = [
        points_row("bias_adjusted", "Bias of the adjusted good-switch rate when testing is selective", "under 1 point", adjusted, 0.01,
                    f"The plain share of tested switches is off by {100 * naive.mean():+.1f} points in the same fleets."),
    ]  # fmt: skip
    words = {"with_cause": "root cause recorded", "without_cause": "no root cause"}
    for group, told in words.items():
        name = f"callbacks_{group}"
        upper = error_of(f"possible_{group}", name)
        out.append(points_row(
            f"bias_{name}", f"Bias of 30-day callbacks, recent swaps censored: {told}", "under 0.5 point",
            error_of(name, name), 0.005,
            "Certain callbacks only, the lower of the two bounds; with the uncertain ones counted the upper bound is off by "
            f"{100 * upper.mean():+.2f} points."))  # fmt: skip
    return out


def technician_rows(fleets: list[dict[str, Any]]) -> list[Row]:
    compared = [[t for t in f["technicians"] if t["is_compared"]] for f in fleets]
    n_flagged = np.array([sum(t["is_flagged"] for t in fleet) for fleet in compared])
    n_false = np.array([sum(t["is_flagged"] and t["true_excess"] <= MARGIN for t in fleet) for fleet in compared])
    out = []
    if n_flagged.sum():
        rate, error = _ratio(n_false, n_flagged)
        out.append(row(
            "flags_false", "Technicians marked whose true excess is not over the margin (false-discovery rate)", "at most 10%",
            rate, error, int(n_flagged.sum()), rate <= 0.10, "marks"))  # fmt: skip
    people = [_known_people(f) for f in fleets]
    shrunk = np.array([np.sum([(t["value"] - t["truth"]) ** 2 for t in fleet]) for fleet in people])
    raw = np.array([np.sum([(t["raw"] - t["truth"]) ** 2 for t in fleet]) for fleet in people])
    rate, error = _ratio(shrunk, raw)
    out.append(row(
        "technicians_error", "Mean squared error of technicians' rates against the raw ones", "at most 0.5 times", rate, error,
        sum(map(len, people)), rate <= 0.5, "technicians", "ratio"))  # fmt: skip
    return out


def classifier_rows(fleets: list[dict[str, Any]]) -> list[Row]:
    """Each later block over all fleets: one fleet's block of about 40 labels could not tell an error of .03."""
    every = np.array([[i, *label] for i, f in enumerate(fleets) for label in f["folds"]])
    if not every.size:
        return []
    blocks = [every[every[:, 1] == block] for block in np.unique(every[:, 1])]
    gaps, slopes, skills = ([f(b) for b in blocks] for f in (_calibration_error, _slope, _skill))
    worst = blocks[int(np.argmax(gaps))]
    furthest = blocks[int(np.argmax(np.abs(np.array(slopes) - 1)))]
    lowest = blocks[int(np.argmin(skills))]
    told = "each of the 5 later blocks"
    slope = _slope(furthest)
    gaps_told = (
        f"Blocks in order: {', '.join(f'{g:.3f}' for g in gaps)}. All fleets' labels of a block are taken together: with "
        f"as many, predictions that are exactly right show {_chance_error(worst):.3f} by chance; with those of one fleet "
        f"{_chance_error_alone(worst):.2f}."
    )
    return [
        row("classifier_calibration", f"Classifier: calibration error, worst of {told}", "at most 0.03", max(gaps),
            _by_groups(worst, _calibration_error), len(worst), max(gaps) <= 0.03, "labels", "ratio", gaps_told),
        row("classifier_slope", f"Classifier: calibration slope, furthest from 1 of {told}", "0.9 to 1.1", slope,
            _by_groups(furthest, _slope), len(furthest), 0.9 <= slope <= 1.1, "labels", "ratio",
            f"Blocks in order: {', '.join(f'{s:.2f}' for s in slopes)}."),
        row("classifier_skill", f"Classifier: Brier skill, lowest of {told}", "above 0", min(skills),
            _by_groups(lowest, _skill), len(lowest), min(skills) > 0, "labels", "ratio"),
    ]  # fmt: skip


def _calibration_error(labels: np.ndarray) -> float:
    p, y, w = labels[:, 2], labels[:, 3], labels[:, 4]
    bins = np.minimum((p * 10).astype(int), 9)
    gap = [abs(np.average(p[bins == b], weights=w[bins == b]) - np.average(y[bins == b], weights=w[bins == b])) for b in np.unique(bins)]  # fmt: skip
    return float(np.average(gap, weights=[w[bins == b].sum() for b in np.unique(bins)]))


def _chance_error(labels: np.ndarray, n_draws: int = 20) -> float:
    """Mean calibration error of the same predictions were they exactly right: the labels drawn by them."""
    rng, drawn = np.random.default_rng(CHANCE_SEED), labels.copy()
    found = []
    for _ in range(n_draws):
        drawn[:, 3] = rng.random(len(labels)) < labels[:, 2]
        found.append(_calibration_error(drawn))
    return float(np.mean(found))


def _chance_error_alone(labels: np.ndarray, n_fleets: int = 50) -> float:
    """The same within single fleets, on average over the first of them."""
    some = np.unique(labels[:, 0])[:n_fleets]
    return float(np.mean([_chance_error(labels[labels[:, 0] == one], 5) for one in some]))


def _slope(labels: np.ndarray) -> float:
    p = np.clip(labels[:, 2], 1e-6, 1 - 1e-6)
    fit = LogisticRegression(C=np.inf, max_iter=200)
    fit.fit(np.log(p / (1 - p))[:, None], labels[:, 3].astype(int), sample_weight=labels[:, 4])
    return float(fit.coef_[0, 0])


def _skill(labels: np.ndarray) -> float:
    p, y, w, base = labels[:, 2], labels[:, 3], labels[:, 4], labels[:, 5]
    return 1 - float(np.average((y - p) ** 2, weights=w) / np.average((y - base) ** 2, weights=w))


def _by_groups(block: np.ndarray, measure: Any, n_groups: int = 10) -> float:
    """Standard error of the measure of one block over all fleets: the jackknife over ten groups of fleets."""
    group = block[:, 0].astype(int) % n_groups
    kept = [block[group != k] for k in np.unique(group)]
    values = np.array([measure(labels) for labels in kept if len(np.unique(labels[:, 3])) == 2])
    if values.size < 3:
        return float("nan")
    return float(np.sqrt((values.size - 1) / values.size * ((values - values.mean()) ** 2).sum()))


def _width_note(known: list[dict[str, Any]], name: str) -> str:
    """Whether a share's ranges are too wide: what they take the spread to be, against the spread of the errors found."""
    of = np.array([
        [f[name]["value"], f[name]["low"], f[name]["high"], f["long_run"].get(name, f[name]["truth"])] for f in known
    ], dtype=float).reshape(-1, 4)  # fmt: skip
    inside = ((of > 0) & (of < 1)).all(axis=1)
    value, low, high, truth = np.log(of[inside] / (1 - of[inside])).T
    error = value - truth
    if len(error) < 3 or not error.any():
        return ""
    ratio = np.sqrt(np.mean(((high - low) / (2 * 1.96)) ** 2) / np.mean(error**2))
    return (
        f"The ranges are {ratio:.2f} times as wide as the errors found call for; the truth lies below "
        f"{np.mean(truth < low):.1%} and above {np.mean(truth > high):.1%} of them."
    )


def _days_note(known: list[dict[str, Any]], name: str) -> str:
    """The same of a day of the year, whose differences go the short way round it."""
    value, low, high, truth = np.array([
        [f[name]["value"], f[name]["low"], f[name]["high"], f["long_run"].get(name, f[name]["truth"])] for f in known
    ], dtype=float).reshape(-1, 4).T  # fmt: skip
    error = (value - truth + YEAR_DAYS / 2) % YEAR_DAYS - YEAR_DAYS / 2
    if len(error) < 3 or not error.any():
        return ""
    shift = f"{error.mean():+.1f}".replace("-", "−")
    before, after = (value - low) % YEAR_DAYS, (high - value) % YEAR_DAYS
    ratio = np.sqrt(np.mean(((before + after) / (2 * 1.96)) ** 2) / np.mean(error**2))
    return (
        f"The ranges are {ratio:.2f} times as wide as the errors found call for; the day found is {shift} days "
        f"from the true one on average; the truth lies before {np.mean(error > before):.1%} and after "
        f"{np.mean(-error > after):.1%} of them."
    )


def _known_people(fleet: dict[str, Any]) -> list[dict[str, Any]]:
    return [t for t in fleet["technicians"] if t["n"] >= 5 and np.isfinite(t["low"])]


def _holds(figure: dict[str, Any], truth: float) -> bool:
    low, high = figure["low"], figure["high"]
    return low <= truth <= high if low <= high else truth >= low or truth <= high


def is_covered(rate: float) -> bool:
    return COVERAGE[0] <= rate <= COVERAGE[1]


def share_row(
    name: str, what: str, bar: str, held: Iterable[bool], is_held: Any, n_of: str = "fleets", note: str = ""
) -> Row:
    values = np.array(list(held), dtype=float)
    rate = float(values.mean()) if values.size else float("nan")
    error = float(np.sqrt(rate * (1 - rate) / max(values.size, 1)))
    return row(name, what, bar, rate, error, values.size, bool(is_held), n_of, note=note)


def points_row(name: str, what: str, bar: str, errors: np.ndarray, limit: float, note: str = "") -> Row:
    bias, error = float(errors.mean()), float(errors.std(ddof=1) / np.sqrt(errors.size))
    return row(name, what, bar, bias, error, errors.size, abs(bias) < limit, unit="points", note=note)


def _clustered(groups: list[list[bool]]) -> tuple[float, float]:
    """Share over all members, with a standard error that takes the members of one fleet together."""
    return _ratio(np.array([np.sum(g) for g in groups], dtype=float), np.array([len(g) for g in groups], dtype=float))


def _ratio(part: np.ndarray, whole: np.ndarray) -> tuple[float, float]:
    rate = float(part.sum() / whole.sum())
    residual = part - rate * whole
    return rate, float(np.sqrt((residual**2).sum() * part.size / max(part.size - 1, 1)) / whole.sum())
