"""The invented fleet: its size, its habits, its names. Every place, part number and person here is made up."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date, timedelta

REGIONS = ("Northmere", "Hollow Coast", "Ashfell Upland", "Quarry Plain")
STATIONS = ("WS-NORTHMERE", "WS-HOLLOWCOAST", "WS-ASHFELL", "WS-QUARRY")
REGION_ELEVATION_M = (120.0, 15.0, 640.0, 260.0)

BRANCH_NAMES = (
    "Tarnwick",
    "Gullhaven",
    "Ashfell Top",
    "Quarryend",
    "Millbeck Moor",
    "Saltreach",
    "Highcairn",
    "Stonefield Row",
)

# Sites simulated together, whatever the size of the fleet: part of what makes the same seed give the same bytes.
SITES_PER_BLOCK = 8_000
TECHNICIANS_PER_BRANCH = 12
# Fewer technicians than this cannot be compared with each other.
MINIMUM_TECHNICIANS = 25
# Faults go on this long after the export ends, so that no callback of the truth is cut off.
DAYS_SIMULATED_AFTER_END = 120
CALLBACK_HORIZON_DAYS = 400


@dataclass(frozen=True)
class Scenario:
    """What the fleet is like. Shares and probabilities in [0, 1]; rates per appliance and year.

    ends_on: last day of the export. lead_in_days: days before the first heating season (July) that are exported too,
    so that most appliances have had a visit before it starts. weak_share: share of technicians planted as weak.
    testing_strength: 1 = suspicious swaps are tested about six times as often as well-documented ones; 0 = all alike.
    uneven_mix: how far faults of the switch itself go to some technicians of a branch rather than others (0 = to all
    alike; 1 = the first in the roster get several times the share of the last).
    testing_on_result: log odds by which a truly good switch is likelier to be picked; 0 = at random given paper.
    times: "offset" writes +00:00, "local" writes none.
    """

    n_technicians: int = 60
    n_sites: int = 8_000
    n_seasons: int = 4
    ends_on: date = date(2026, 6, 30)
    lead_in_days: int = 61
    weak_share: float = 0.10
    new_starter_share: float = 0.12
    twin_share: float = 0.10
    blank_appliance_share: float = 0.05
    condensing_share: float = 0.75
    draft_fault_rate: float = 0.15
    routine_visit_rate: float = 1.80
    coached_share: float = 0.25
    testing_strength: float = 1.0
    testing_on_result: float = 0.0
    testing_level: float = 1.0
    random_draw_probability: float = 0.08
    dirt: float = 1.0
    times: str = "offset"
    uneven_mix: float = 0.0

    def __post_init__(self) -> None:
        for name, low, high in _LIMITS:
            value = getattr(self, name)
            if not low <= value <= high:
                raise ValueError(f"Scenario: {name} is {value}; must lie between {low} and {high}.")
        if self.times not in ("offset", "local"):
            raise ValueError(f'Scenario: times is {self.times!r}; must be "offset" or "local".')

    @property
    def starts_on(self) -> date:
        """First day of the export."""
        seasons_start = date(self.ends_on.year - self.n_seasons, self.ends_on.month, 1)
        return (seasons_start + timedelta(days=31)).replace(day=1) - timedelta(days=self.lead_in_days)

    @property
    def n_days(self) -> int:
        """Days in the export."""
        return (self.ends_on - self.starts_on).days + 1

    def expected_visits(self) -> float:
        """About how many visits the export holds."""
        return self.n_sites * VISITS_PER_SITE_YEAR * self.n_days / 365.25 * self.routine_visit_rate / 1.80

    def scaled(self, visits: int) -> Scenario:
        """The same fleet with more or fewer sites and technicians, so that about `visits` visits come out."""
        ratio = visits / self.expected_visits()
        return replace(
            self,
            n_sites=max(200, round(self.n_sites * ratio)),
            n_technicians=max(min(MINIMUM_TECHNICIANS, self.n_technicians), round(self.n_technicians * ratio)),
        )

    @classmethod
    def no_weak_technician(cls, **more) -> Scenario:
        """A fleet in which nobody is planted as weak."""
        return cls(weak_share=0.0, **more)

    @classmethod
    def unequal_case_mix(cls, **more) -> Scenario:
        """A fleet whose technicians get unlike calls: faults of the switch itself go to some rather than others."""
        return cls(uneven_mix=1.0, **more)

    @classmethod
    def tested_by_result(cls, **more) -> Scenario:
        """A fleet whose testers somehow pick good switches: not at random given what is on paper."""
        return cls(testing_on_result=1.5, **more)


# Measured on generated fleets: appliances per site times visits per appliance, callbacks and returns included.
VISITS_PER_SITE_YEAR = 2.15

_LIMITS = (
    ("n_technicians", 3, 20_000),
    ("n_sites", 50, 3_000_000),
    ("n_seasons", 1, 12),
    ("lead_in_days", 0, 180),
    ("weak_share", 0, 0.5),
    ("new_starter_share", 0, 0.5),
    ("twin_share", 0, 1),
    ("blank_appliance_share", 0, 1),
    ("condensing_share", 0, 1),
    ("draft_fault_rate", 0, 2),
    ("routine_visit_rate", 0, 20),
    ("coached_share", 0, 1),
    ("testing_strength", 0, 2),
    ("testing_on_result", -5, 5),
    ("testing_level", 0, 3),
    ("random_draw_probability", 0, 1),
    ("dirt", 0, 3),
    ("uneven_mix", 0, 3),
)


@dataclass(frozen=True)
class BlockPlan:
    """One part of the fleet that is simulated on its own: its number, size and first numbers."""

    number: int
    n_sites: int
    n_technicians: int
    first_technician: int
    first_branch: int
    n_branches: int


def plan_blocks(scenario: Scenario) -> list[BlockPlan]:
    """Split a fleet into blocks of whole branches with at most about SITES_PER_BLOCK sites each."""
    n_blocks = max(1, round(scenario.n_sites / SITES_PER_BLOCK))
    plans = []
    first_technician = first_branch = 0
    for number in range(n_blocks):
        n_sites = _part(scenario.n_sites, n_blocks, number)
        n_technicians = max(3, _part(scenario.n_technicians, n_blocks, number))
        n_branches = max(1, min(n_technicians // 3, max(3, round(n_technicians / TECHNICIANS_PER_BRANCH))))
        plans.append(BlockPlan(number, n_sites, n_technicians, first_technician, first_branch, n_branches))
        first_technician += n_technicians
        first_branch += n_branches
    return plans


def _part(total: int, n_parts: int, number: int) -> int:
    return (total * (number + 1)) // n_parts - (total * number) // n_parts


def branch_name(number: int) -> str:
    """Name of a branch by its running number."""
    turn, place = divmod(number, len(BRANCH_NAMES))
    return BRANCH_NAMES[place] if turn == 0 else f"{BRANCH_NAMES[place]} {turn + 1}"
