"""Technicians of one block: skill per step, habits, employment, on-call duty, and what coaching changed."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from synthetic_data.causes import STEPS
from synthetic_data.scenario import BlockPlan, Scenario

N_HANDS = 6
# Habits beside the steps: probabilities.
_GAUGE, _RECORD, _SWAP_BLIND, _SWAP_ANYWAY = 0.70, 0.70, 0.60, 0.22
_WEAK_GAUGE, _WEAK_RECORD, _WEAK_SWAP_BLIND, _WEAK_SWAP_ANYWAY = 0.18, 0.33, 0.94, 0.45
_STEP_SKILL, _WEAK_STEP_SKILL = 0.67, 0.32
# A new starter's skill is this much lower on the first day, gone after a year.
_NEW_STARTER_GAP = 0.22
MONTH_DAYS = 30


@dataclass
class Technicians:
    """Arrays (n_technicians,), skills (n_technicians, n_steps); probabilities in [0, 1], days from the export's start.

    coached_day: first coaching session, -1 when never coached. has_effect: whether coaching changed anything.
    roster: cumulative probability of being sent, shape (n_branches, n_months, most technicians in a branch).
    """

    branch: np.ndarray
    skill: np.ndarray
    gauge: np.ndarray
    record: np.ndarray
    swap_blind: np.ndarray
    swap_anyway: np.ndarray
    is_weak: np.ndarray
    is_new: np.ndarray
    started_day: np.ndarray
    left_day: np.ndarray
    hand: np.ndarray
    gauge_unit: np.ndarray
    writes_suction_negative: np.ndarray
    gauge_bias: np.ndarray
    coached_day: np.ndarray = field(default_factory=lambda: np.zeros(0, np.int64))
    has_effect: np.ndarray = field(default_factory=lambda: np.zeros(0, bool))
    roster: np.ndarray = field(default_factory=lambda: np.zeros((0, 0, 0)))
    members: np.ndarray = field(default_factory=lambda: np.zeros((0, 0), np.int64))
    uneven_mix: float = 0.0

    @property
    def n(self) -> int:
        return len(self.branch)

    def experience_gap(self, technician: np.ndarray, day: np.ndarray) -> np.ndarray:
        """How far below the later skill each visit's technician is: 0 unless a new starter in the first year."""
        gap = _NEW_STARTER_GAP * (1 - (day - self.started_day[technician]) / 365.0)
        return np.where(self.is_new[technician], np.clip(gap, 0.0, _NEW_STARTER_GAP), 0.0)

    def is_improved(self, technician: np.ndarray, day: np.ndarray) -> np.ndarray:
        """Whether coaching with an effect lies before the day."""
        coached = self.coached_day[technician]
        return (coached >= 0) & (day > coached) & self.has_effect[technician]

    def send(
        self,
        rng: np.random.Generator,
        branch: np.ndarray,
        day: np.ndarray,
        is_on_call: np.ndarray,
        is_switch: np.ndarray | None = None,
    ) -> np.ndarray:
        """Who is sent to each visit. On-call work of one week goes to the technician on duty.

        is_switch: faults of the switch itself, which an uneven mix sends to the first in the roster rather.
        """
        month = np.clip(day // MONTH_DAYS, 0, self.roster.shape[1] - 1)
        chance = rng.random(len(branch))
        if is_switch is not None and self.uneven_mix > 0:
            power = 1.0 + self.uneven_mix
            chance = np.where(is_switch, chance**power, 1.0 - (1.0 - chance) ** power)
        # The same number for everyone who calls in the same week: one technician is on duty.
        week = day // 7
        duty = ((week * 0.6180339887498949 + branch * 0.41421356) % 1.0 + 1.0) % 1.0
        chance = np.where(is_on_call, duty, chance)
        place = (chance[:, None] >= self.roster[branch, month]).sum(axis=1)
        return self.members[branch, np.minimum(place, self.members.shape[1] - 1)]


def make_technicians(rng: np.random.Generator, scenario: Scenario, plan: BlockPlan) -> Technicians:
    """Draw the technicians of a block, planted weak ones and new starters among them."""
    n = plan.n_technicians
    order = rng.permutation(n)
    n_weak = round(scenario.weak_share * n)
    n_new = round(scenario.new_starter_share * n)
    is_weak = np.isin(np.arange(n), order[:n_weak])
    is_new = np.isin(np.arange(n), order[n_weak : n_weak + n_new])
    leaves = np.isin(np.arange(n), order[n_weak + n_new : n_weak + n_new + round(0.08 * n)])

    def around(level: float, weak_level: float, spread: float = 0.045) -> np.ndarray:
        centre = np.where(is_weak, weak_level, level)
        return np.clip(centre + rng.normal(0, spread, n), 0.03, 0.97)

    skill = np.stack([around(_STEP_SKILL, _WEAK_STEP_SKILL, 0.07) for _ in STEPS], axis=1)
    started = np.where(
        is_new,
        rng.integers(scenario.n_days // 3, max(scenario.n_days - 300, scenario.n_days // 3 + 1), n),
        -rng.integers(200, 7000, n),
    )
    technicians = Technicians(
        branch=np.arange(n) % plan.n_branches,
        skill=skill,
        gauge=around(_GAUGE, _WEAK_GAUGE, 0.08),
        record=around(_RECORD, _WEAK_RECORD, 0.06),
        swap_blind=around(_SWAP_BLIND, _WEAK_SWAP_BLIND),
        swap_anyway=around(_SWAP_ANYWAY, _WEAK_SWAP_ANYWAY),
        is_weak=is_weak,
        is_new=is_new,
        started_day=started,
        left_day=np.where(leaves, rng.integers(scenario.n_days // 2, scenario.n_days, n), 10**6),
        hand=rng.permutation(n) % N_HANDS,
        gauge_unit=rng.choice(3, n, p=[0.80, 0.12, 0.08]),
        writes_suction_negative=rng.random(n) < 0.35,
        gauge_bias=rng.normal(0, 0.006, n),
    )
    technicians.uneven_mix = scenario.uneven_mix
    _make_roster(rng, technicians, plan.n_branches, scenario.n_days)
    _choose_for_coaching(rng, technicians, scenario)
    return technicians


def _make_roster(rng: np.random.Generator, technicians: Technicians, n_branches: int, n_days: int) -> None:
    """Who can be sent in which month: those employed, some more often than others."""
    n_months = (n_days + 600) // MONTH_DAYS + 1
    most = int(np.bincount(technicians.branch, minlength=n_branches).max())
    members = np.zeros((n_branches, most), np.int64)
    weight = np.zeros((n_branches, n_months, most))
    month_day = np.arange(n_months) * MONTH_DAYS
    share = rng.uniform(0.75, 1.25, technicians.n)
    for branch in range(n_branches):
        own = np.flatnonzero(technicians.branch == branch)
        members[branch, : len(own)] = own
        members[branch, len(own) :] = own[-1]
        employed = (month_day[:, None] >= technicians.started_day[own]) & (
            month_day[:, None] + MONTH_DAYS <= technicians.left_day[own]
        )
        weight[branch, :, : len(own)] = np.where(employed, share[own], 0.0)
        nobody = weight[branch].sum(axis=1) == 0
        weight[branch, nobody, : len(own)] = share[own]
    technicians.roster = np.cumsum(weight, axis=2) / weight.sum(axis=2, keepdims=True)
    technicians.members = members


def _choose_for_coaching(rng: np.random.Generator, technicians: Technicians, scenario: Scenario) -> None:
    """The trainer picks those who look worst on a noisy early impression; half of them, none weak, really improve."""
    n = technicians.n
    impression = technicians.swap_blind + rng.normal(0, 0.12, n) + 0.1 * technicians.is_new
    chosen = np.argsort(-impression, kind="stable")[: round(scenario.coached_share * n)]
    technicians.coached_day = np.full(n, -1, np.int64)
    earliest = np.maximum(technicians.started_day[chosen].clip(0) + 60, scenario.n_days // 3)
    latest = np.maximum(np.minimum(technicians.left_day[chosen], scenario.n_days * 3 // 4), earliest + 1)
    technicians.coached_day[chosen] = rng.integers(earliest, latest)
    technicians.has_effect = np.zeros(n, bool)
    open_to_it = chosen[~technicians.is_weak[chosen]]
    technicians.has_effect[open_to_it[: (len(open_to_it) + 1) // 2]] = True
    # Who improves is not who looked worst: shuffle within the chosen.
    technicians.has_effect[open_to_it] = rng.permutation(technicians.has_effect[open_to_it])
