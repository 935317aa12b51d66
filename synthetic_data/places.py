"""Sites and appliances of one block: where they stand, what they are, what their switch is rated at."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipelines.contract import codes
from pipelines.contract.units import INCH_OF_WATER_PA
from synthetic_data.scenario import REGION_ELEVATION_M, REGIONS, BlockPlan, Scenario

KINDS = codes.APPLIANCE_KIND.values()
_KIND_SHARE = {"furnace": 0.58, "boiler": 0.20, "unit_heater": 0.07, "water_heater": 0.12, "other": 0.03}

# Rated make points in inches of water: in the range that is common practice for draft-proving switches.
RATED_MAKE_INCH = np.array([0.42, 0.55, 0.65, 0.80, 0.95, 1.20, 1.55])
_MAKE_SHARE = np.array([0.10, 0.16, 0.20, 0.20, 0.15, 0.11, 0.08])
RATED_BREAK_INCH = np.round(RATED_MAKE_INCH - np.array([0.10, 0.12, 0.13, 0.15, 0.15, 0.20, 0.25]), 2)
TOLERANCE_INCH = np.array([0.05, 0.05, 0.05, 0.05, 0.05, 0.06, 0.08])
RATED_MAKE_PA = RATED_MAKE_INCH * INCH_OF_WATER_PA
TOLERANCE_PA = TOLERANCE_INCH * INCH_OF_WATER_PA


@dataclass(frozen=True)
class Places:
    """Arrays per site (n_sites,) and per appliance (n_appliances,); days count from the first day of the export.

    nominal_draft_pa: draft at the switch of the sound appliance in mild, still weather. proneness: multiplies its
    hazard of draft faults, mean about 1. removed_day: a day far beyond the end when it stays.
    """

    site_branch: np.ndarray
    site_region: np.ndarray
    site_elevation_m: np.ndarray
    site_is_recorded: np.ndarray
    appliance_site: np.ndarray
    is_twin: np.ndarray
    kind: np.ndarray
    is_condensing: np.ndarray
    installed_day: np.ndarray
    removed_day: np.ndarray
    switch_model: np.ndarray
    nominal_draft_pa: np.ndarray
    wind_exposure: np.ndarray
    proneness: np.ndarray
    is_rating_recorded: np.ndarray

    @property
    def n_sites(self) -> int:
        return len(self.site_branch)

    @property
    def n_appliances(self) -> int:
        return len(self.appliance_site)

    @property
    def region(self) -> np.ndarray:
        """Region of each appliance."""
        return self.site_region[self.appliance_site]

    @property
    def branch(self) -> np.ndarray:
        """Branch of each appliance."""
        return self.site_branch[self.appliance_site]


STAYS = 10**6


def make_places(rng: np.random.Generator, scenario: Scenario, plan: BlockPlan) -> Places:
    """Draw the sites of a block and their appliances."""
    n_sites = plan.n_sites
    branch = np.sort(rng.integers(0, plan.n_branches, n_sites))
    region = (branch + plan.first_branch) % len(REGIONS)
    elevation = np.maximum(np.array(REGION_ELEVATION_M)[region] + rng.normal(0, 25, n_sites), 1.0).round(0)
    has_twin = rng.random(n_sites) < scenario.twin_share
    site = np.repeat(np.arange(n_sites), np.where(has_twin, 2, 1))
    n = len(site)
    shares = np.array([_KIND_SHARE[kind] for kind in KINDS])
    kind = np.searchsorted(np.cumsum(shares), rng.random(n)).clip(0, len(KINDS) - 1)
    age_days = rng.gamma(2.2, 4.2 * 365.25, n).clip(0, 28 * 365)
    arrives_later = rng.random(n) < 0.04
    installed = np.where(arrives_later, rng.integers(0, scenario.n_days, n), -age_days.astype(np.int64) - 1)
    leaves = rng.random(n) < 0.015
    removed = np.where(leaves, installed.clip(0) + rng.integers(120, scenario.n_days + 400, n), STAYS)
    model = rng.choice(len(RATED_MAKE_INCH), n, p=_MAKE_SHARE)
    age_years = np.clip(-installed, 0, None) / 365.25
    return Places(
        site_branch=branch,
        site_region=region,
        site_elevation_m=elevation,
        site_is_recorded=rng.random(n_sites) > 0.01 * scenario.dirt,
        appliance_site=site,
        is_twin=has_twin[site],
        kind=kind,
        is_condensing=rng.random(n) < scenario.condensing_share,
        installed_day=installed,
        removed_day=removed,
        switch_model=model,
        nominal_draft_pa=RATED_MAKE_PA[model] * rng.uniform(1.35, 1.8, n),
        wind_exposure=rng.gamma(2.0, 0.5, n),
        proneness=rng.gamma(2.5, 1 / 2.5, n) * (0.7 + 0.3 * np.minimum(age_years, 15) / 9.0),
        is_rating_recorded=rng.random(n) > 0.12 * min(scenario.dirt, 1.0),
    )
