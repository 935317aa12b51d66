"""How the files of the packs are called: by kind, whose, the last day on record and the filters. On the pages as by command."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Callable

import pandas as pd

from dashboard import lookups, report_scope, roles, store_access
from models.figures.scope import Scope

# The day of a pack on no visit at all.
NO_DAY = "2000-01-01"


def of_document(kind: str, day: dt.date, whose: str = "") -> str:
    """The name of a pack. whose: the technician as shown, or the claim."""
    return "_".join([kind, *([whose] if whose else []), day.isoformat()])


def of_file(name: str, scope: Scope) -> str:
    """The name as a file may be called on any system, without its ending."""
    return (re.sub(r"[^A-Za-z0-9._-]+", "_", name).strip("._") or "pack") + report_scope.in_file_name(scope)


def before_made(
    kind: str,
    scope: Scope,
    name_of: Callable[[object], str],
    technician_id: str | None = None,
    claim_id: str | None = None,
) -> str:
    """The name of the file of a pack that is not made yet. See packs.document."""
    # A claim is narrowed by nothing.
    asked = Scope() if claim_id is not None else scope
    whose = claim_id or (name_of(technician_id) if technician_id is not None else "")
    return of_file(of_document(kind, _last_day(asked, technician_id), whose), asked)


def _last_day(scope: Scope, technician_id: str | None) -> dt.date:
    """The last day with a visit in the scope; to a technician, with one of theirs."""
    if technician_id is not None and roles.require_somebody().role == "technician":
        found = lookups.own_extent(technician_id, scope)
    else:
        where, bound = scope.where("arrived_on")
        found = store_access.row(f"SELECT max(arrived_on) AS last_on FROM visit WHERE {where}", bound)
    return pd.Timestamp(found.get("last_on") or NO_DAY).date()
