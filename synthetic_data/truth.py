"""What really happened: per swap, per draft-fault job, per technician, per season family, and in short.

Rows stand for switches that were really fitted; keys are those of the delivered records.
"""

from __future__ import annotations

import json
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import pandas as pd

from synthetic_data import causes
from synthetic_data.evidence import DESCRIBED, EVIDENCE, MEASURED, TIER
from synthetic_data.faults import YEAR_DAYS
from synthetic_data.outcomes import ALONGSIDE_REPAIR, BLIND, SWITCH_AT_FAULT
from synthetic_data.places import Places
from synthetic_data.scenario import BlockPlan, Scenario, branch_name
from synthetic_data.technicians import Technicians

WAYS = {SWITCH_AT_FAULT: "switch_at_fault", ALONGSIDE_REPAIR: "alongside_repair", BLIND: "blind"}
FAMILIES = {"condensate": causes.IS_CONDENSATE_FAMILY, "blockage": causes.IS_BLOCKAGE_FAMILY}
_LONGEST_LAG = 60


@dataclass
class Truth:
    """Collects the truth of every block. curves: family -> mean recorded faults by day of the year, shape (366,)."""

    swaps: list[pd.DataFrame] = field(default_factory=list)
    jobs: list[pd.DataFrame] = field(default_factory=list)
    technicians: list[pd.DataFrame] = field(default_factory=list)
    curves: dict[str, np.ndarray] = field(default_factory=lambda: {name: np.zeros(YEAR_DAYS) for name in FAMILIES})
    n_recorded: dict[str, int] = field(default_factory=lambda: dict.fromkeys(FAMILIES, 0))
    n_appliances: int = 0
    n_visits: int = 0

    def add_block(
        self,
        scenario: Scenario,
        plan: BlockPlan,
        places: Places,
        technicians: Technicians,
        jobs: pd.DataFrame,
        visits: pd.DataFrame,
        swaps: pd.DataFrame,
        rates: np.ndarray,
        mean_curve: np.ndarray,
    ) -> None:
        """Add what happened in one block. rates, mean_curve: see faults.py."""
        exported = jobs[jobs["day"] < scenario.n_days]
        self.swaps.append(_swaps(scenario, plan, technicians, swaps))
        self.jobs.append(_jobs(scenario, plan, places, exported, visits))
        self.technicians.append(_technicians(plan, technicians, exported, swaps))
        self.n_appliances += int((places.installed_day < scenario.n_days).sum())
        self.n_visits += len(visits)
        recorded = exported["recorded"].to_numpy()
        for name, member in FAMILIES.items():
            counted = (recorded >= 0) & member[recorded]
            self.n_recorded[name] += int(counted.sum())
            self.curves[name] += _recorded_curve(places, jobs, member, rates, mean_curve)


def _number(plan: BlockPlan, rows: np.ndarray, letter: str) -> list[str]:
    return [f"{letter}{number}" for number in (plan.number + 1) * 1_000_000 + np.asarray(rows)]


def _swaps(scenario: Scenario, plan: BlockPlan, technicians: Technicians, swaps: pd.DataFrame) -> pd.DataFrame:
    cause = swaps["cause"].to_numpy()
    first = plan.first_technician + 1
    tested_faulty = (swaps["bench_verdict"].to_numpy() == 0) & causes.IS_SWITCH[np.maximum(swaps["recorded"], 0)]
    final_tier = np.where(tested_faulty & (swaps["recorded"] >= 0), MEASURED, swaps["tier"])
    diagnosed_by = swaps["diagnosed_by"].to_numpy()
    visit_ids = _number(plan, swaps["visit"], "V")
    return pd.DataFrame(
        {
            "visit_id": visit_ids,
            "removed_tag": pd.Series(visit_ids).str.replace("V", "TAG").where(swaps["has_tag"].to_numpy(bool), None),
            "technician_id": [f"T{first + number:03d}" for number in swaps["swapped_by"]],
            "diagnosed_by": [f"T{first + number:03d}" for number in diagnosed_by],
            "branch": [branch_name(plan.first_branch + place) for place in technicians.branch[diagnosed_by]],
            "swapped_on": np.datetime64(scenario.starts_on, "D") + swaps["swapped_day"].to_numpy().astype(np.int64),
            "true_cause": np.array(causes.CODES, dtype=object)[cause],
            "recorded_cause": _code_or_none(swaps["recorded"].to_numpy()),
            "swap_way": [WAYS[way] for way in swaps["swap_way"]],
            "is_truly_good": swaps["is_good"].to_numpy(bool),
            "evidence": np.array(EVIDENCE, dtype=object)[swaps["evidence"].to_numpy()],
            "documented_tier_at_closing": np.array(TIER, dtype=object)[swaps["tier"].to_numpy()],
            "documented_tier": np.array(TIER, dtype=object)[final_tier],
            "has_root_cause": final_tier >= DESCRIBED,
            "is_recorded_complete": swaps["is_complete"].to_numpy(bool),
            "true_callback_days": _days_or_none(swaps["callback_days"].to_numpy()),
            "is_tested": swaps["selection"].to_numpy() >= 0,
            "is_by_weak_technician": technicians.is_weak[diagnosed_by],
            "good_pull_probability": swaps["good_pull_probability"].to_numpy(),
        }
    )


def _days_or_none(days: np.ndarray) -> pd.Series:
    return pd.Series(np.maximum(days, 0), dtype="Int64").mask(pd.Series(days < 1))


def _code_or_none(numbers: np.ndarray) -> np.ndarray:
    names = np.array([*causes.CODES, None], dtype=object)
    return names[np.where(numbers >= 0, numbers, causes.N_CAUSES)]


def _jobs(
    scenario: Scenario, plan: BlockPlan, places: Places, jobs: pd.DataFrame, visits: pd.DataFrame
) -> pd.DataFrame:
    first_visits = np.flatnonzero(visits["part"].to_numpy() == 1)
    row_of_job = pd.Series(first_visits, index=visits["source"].to_numpy()[first_visits])
    visit = row_of_job.reindex(jobs.index).to_numpy()
    kept = jobs[np.isfinite(visit)]
    visit = visit[np.isfinite(visit)].astype(np.int64)
    appliance = kept["appliance"].to_numpy()
    return pd.DataFrame(
        {
            "visit_id": _number(plan, visit, "V"),
            "site_id": [f"S{number}" for number in (plan.number + 1) * 100_000 + places.appliance_site[appliance]],
            "appliance_id": [f"A{number}" for number in (plan.number + 1) * 100_000 + appliance],
            "technician_id": [f"T{plan.first_technician + 1 + number:03d}" for number in kept["technician"]],
            "attended_on": np.datetime64(scenario.starts_on, "D") + kept["day"].to_numpy().astype(np.int64),
            "true_cause": np.array(causes.CODES, dtype=object)[kept["cause"].to_numpy()],
            "recorded_cause": _code_or_none(kept["recorded"].to_numpy()),
            "is_cause_found": kept["is_found"].to_numpy(bool),
            "has_swap": kept["has_swap"].to_numpy(bool),
            "is_good_pull": kept["is_good"].to_numpy(bool),
            "good_pull_probability": kept["good_pull_probability"].to_numpy(),
            "expected_good_pull_probability": kept["average_pull_probability"].to_numpy(),
            "n_earlier_visits_for_it": kept["round_no"].to_numpy(),
        }
    )


def _technicians(plan: BlockPlan, technicians: Technicians, jobs: pd.DataFrame, swaps: pd.DataFrame) -> pd.DataFrame:
    n = technicians.n
    who = jobs["technician"].to_numpy()
    count = np.bincount(who, minlength=n)
    safe = np.maximum(count, 1)

    def mean(values: np.ndarray) -> np.ndarray:
        return np.where(count > 0, np.bincount(who, weights=values.astype(float), minlength=n) / safe, np.nan)

    own, average = mean(jobs["good_pull_probability"].to_numpy()), mean(jobs["average_pull_probability"].to_numpy())
    return pd.DataFrame(
        {
            "technician_id": [f"T{plan.first_technician + 1 + number:03d}" for number in range(n)],
            "branch": [branch_name(plan.first_branch + place) for place in technicians.branch],
            "is_weak": technicians.is_weak,
            "is_new": technicians.is_new,
            "draft_fault_visits": count,
            "swaps": np.bincount(swaps["diagnosed_by"].to_numpy(), minlength=n),
            "good_pulls": np.bincount(who, weights=jobs["is_good"].to_numpy().astype(float), minlength=n).astype(int),
            "true_good_pull_probability": own,
            "expected_good_pull_probability": average,
            "true_excess": own - average,
            "is_coached": technicians.coached_day >= 0,
            "has_coaching_effect": technicians.has_effect,
        }
    )


def average_pull_probability(jobs: pd.DataFrame) -> np.ndarray:
    """What the technicians of the block, weak ones included, would do on average on each job's case mix.

    Mean of the own probabilities over all jobs alike in true cause, hours and whether somebody had been before.
    """
    alike = [jobs["cause"], jobs["is_after_hours"], jobs["round_no"] > 0]
    return jobs.groupby(alike)["good_pull_probability"].transform("mean").to_numpy()


def _recorded_curve(
    places: Places, jobs: pd.DataFrame, member: np.ndarray, rates: np.ndarray, mean_curve: np.ndarray
) -> np.ndarray:
    """Mean number of faults of a family that paper would show, by day of the year, shape (366,).

    The mean intensity of each true cause (over many weather years, weighted by the appliances at risk in each region)
    is carried to paper by what the simulation did: the share of its faults, callbacks included, that were written down
    as one of the family, and how many days after the fault began.
    """
    n_regions = mean_curve.shape[1]
    weight = np.stack([rates[places.region == region].sum(axis=0) for region in range(n_regions)], axis=1)
    new_faults = (weight[:, :, None] * mean_curve).sum(axis=1)
    cause, recorded = jobs["cause"].to_numpy(), jobs["recorded"].to_numpy()
    began = _began(jobs)
    lag = np.clip(jobs["day"].to_numpy() - began, 0, _LONGEST_LAG)
    counted = (recorded >= 0) & member[recorded]
    n_new = np.bincount(cause[jobs["round_no"].to_numpy() == 0], minlength=causes.N_CAUSES)
    curve = np.zeros(YEAR_DAYS)
    for number in np.unique(cause[counted]):
        kernel = np.bincount(lag[counted & (cause == number)], minlength=_LONGEST_LAG + 1) / max(n_new[number], 1)
        year = new_faults[number]
        spread = np.fft.irfft(np.fft.rfft(year) * np.fft.rfft(kernel, YEAR_DAYS), YEAR_DAYS)
        curve += spread
    return curve


def _began(jobs: pd.DataFrame) -> np.ndarray:
    """Day on which the first visit of each chain was made."""
    began, parent = jobs["day"].to_numpy().copy(), jobs["parent"].to_numpy()
    root = np.where(parent >= 0, parent, np.arange(len(jobs)))
    for _ in range(8):
        root = np.where(parent[root] >= 0, parent[root], root)
    return began[root]


def season_truth(curve: np.ndarray) -> dict[str, float]:
    """Peak day, peak to trough and the first harmonic of a mean curve, shape (366,)."""
    spectrum = np.fft.rfft(curve[:365])
    # Four harmonics are plenty for a mean over years; they take the averaging noise out.
    spectrum[5:] = 0
    smooth = np.maximum(np.fft.irfft(spectrum, 365), 1e-12)
    angle = 2 * np.pi * np.arange(1, 366) / 365.25
    weights = np.linalg.lstsq(
        np.column_stack([np.ones(365), np.cos(angle), np.sin(angle)]), np.log(smooth), rcond=None
    )[0]
    return {
        "peak_day": float(smooth.argmax() + 1),
        "first_harmonic_peak_day": float((np.arctan2(weights[2], weights[1]) / (2 * np.pi) * 365.25) % 365.25),
        "peak_to_trough": float(smooth.max() / smooth.min()),
    }


def write_truth(truth: Truth, folder: Path, scenario: Scenario, seed: int) -> None:
    """Write swaps, draft_faults, technicians, season curves as Parquet and summary.json into `folder`."""
    folder.mkdir(parents=True, exist_ok=True)
    swaps, jobs = pd.concat(truth.swaps, ignore_index=True), pd.concat(truth.jobs, ignore_index=True)
    technicians = pd.concat(truth.technicians, ignore_index=True)
    swaps.to_parquet(folder / "swaps.parquet", index=False)
    jobs.to_parquet(folder / "draft_faults.parquet", index=False)
    technicians.to_parquet(folder / "technicians.parquet", index=False)
    days = np.arange(1, YEAR_DAYS + 1)
    curves = pd.concat(
        [
            pd.DataFrame({"family": name, "day_of_year": days, "mean_recorded_faults_per_day": curve})
            for name, curve in truth.curves.items()
        ],
        ignore_index=True,
    )
    curves.to_parquet(folder / "seasons.parquet", index=False)
    summary = summarise(truth, swaps, technicians, scenario, seed)
    (folder / "summary.json").write_text(json.dumps(summary, indent=2) + "\n", "utf-8")


def summarise(
    truth: Truth, swaps: pd.DataFrame, technicians: pd.DataFrame, scenario: Scenario, seed: int
) -> dict[str, object]:
    """The truth in short. Rates are over all swaps of the export; callbacks over those declared complete."""
    closed = swaps[swaps["is_recorded_complete"]]
    back = (closed["true_callback_days"] <= 30).fillna(False).astype(bool)
    has_cause = closed["has_root_cause"].to_numpy(bool)

    def share(rows: np.ndarray) -> float | None:
        return float(back[rows].mean()) if rows.any() else None

    return {
        "seed": seed,
        "starts_on": scenario.starts_on.isoformat(),
        "ends_on": scenario.ends_on.isoformat(),
        "n_visits": truth.n_visits,
        "n_draft_faults": sum(len(jobs) for jobs in truth.jobs),
        "n_swaps": len(swaps),
        "n_tested": int(swaps["is_tested"].sum()),
        "good_switch_rate": float(swaps["is_truly_good"].mean()) if len(swaps) else None,
        "good_switch_rate_tested_only": float(swaps.loc[swaps["is_tested"], "is_truly_good"].mean()),
        "without_root_cause_share": float(1 - swaps["has_root_cause"].mean()),
        "callbacks_30": {"with_cause": share(has_cause), "without_cause": share(~has_cause)},
        "seasons": {
            name: season_truth(curve) | {"n_recorded": truth.n_recorded[name]} for name, curve in truth.curves.items()
        },
        "weak_technicians": technicians.loc[technicians["is_weak"], "technician_id"].tolist(),
        "new_starters": technicians.loc[technicians["is_new"], "technician_id"].tolist(),
        "coaching_works_for": technicians.loc[technicians["has_coaching_effect"], "technician_id"].tolist(),
    }
