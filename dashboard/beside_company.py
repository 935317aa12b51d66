"""Whom one technician is set beside. The trainer sees everybody within the filters, and may.

The technician is set beside the whole company, whatever the filters, and beside nobody where fewer than five others are in
it: of two technicians, or of two narrowings that differ in one, the figure for all less one's own is a colleague's.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from dashboard import figures_access, roles
from models.figures.coaching_effect import CoachingEffect
from models.figures.scope import Scope
from models.figures.technicians import TechnicianFigures

FEWEST_OTHERS = 5
WHOLE = "“All technicians” is the whole company over all records, whatever the filters."
TOO_FEW = (
    "Fewer than five other technicians have a swap on record, so nothing is shown of all technicians: it could tell what one "
    "of them did."
)
NOT_COMPARED = (
    "Fewer than five other technicians attended a draft fault for these filters, so outcomes are not compared: it could tell "
    "what one of them did."
)
_COMPARISON = ["expected", "expected_rate", "value", "low", "high", "probability_above", "smallest_visible_excess"]


@dataclass(frozen=True)
class Beside:
    """One technician and whom they are set beside.

    person: their row. table, checks: as table and steps of TechnicianFigures; the first holds everybody who is counted,
    of the second the company's rates are meant. note: said beside them, empty where there is nothing to say.
    has_company: whether anybody is counted.
    """

    person: pd.Series
    table: pd.DataFrame
    checks: pd.DataFrame
    note: str = ""
    has_company: bool = True


def of(technician_id: str, table: pd.DataFrame, people: TechnicianFigures, scope: Scope) -> Beside:
    """people: of the scope. table: people.table, with whatever columns were added. The technician must be in it."""
    person = table[table["technician_id"] == technician_id].iloc[0]
    if roles.require_somebody().role != "technician":
        return Beside(person, table, people.steps)
    if len(table) <= FEWEST_OTHERS:
        person = person.copy()
        person[_COMPARISON] = np.nan
        person["is_flagged"], person["reason"] = False, NOT_COMPARED
    whole = figures_access.technicians(Scope())
    counted = whole.table[whole.table["n_process"] > 0]
    if counted["technician_id"].ne(technician_id).sum() < FEWEST_OTHERS:
        return Beside(person, counted.head(0), people.steps.head(0), TOO_FEW, False)
    rates = whole.steps.drop_duplicates("step").set_index("step")["company_rate"]
    checks = people.steps.assign(company_rate=people.steps["step"].map(rates))
    return Beside(person, counted, checks, "" if scope.is_everything else WHOLE)


def coaching() -> CoachingEffect:
    """What changed after coaching; to a technician nothing that was to be expected from fewer than five others."""
    effect = figures_access.coaching()
    if roles.require_somebody().role != "technician":
        return effect
    few = effect.people["measure"].isin([one.name for one in effect.measures if one.n_compared < FEWEST_OTHERS])
    return replace(effect, people=effect.people.assign(expected_after=effect.people["expected_after"].mask(few)))
