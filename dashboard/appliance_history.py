"""From a visit to the appliance's whole history: every visit in order, and its drafts against the make point."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import Any

import pandas as pd
import streamlit as st

from dashboard import chart_drill, code_names, notices, own_visits, page, roles, store_access, words
from dashboard.chart_drill import Mark
from dashboard.charts.draft_history import draft_history

# The newest visits shown; an appliance with more is a mistake in the records rather than a history.
MOST_VISITS = 200
# Visits of one appliance; a technician's own only. By site too: rows of a site lie together in the store.
_VISITS = f"""
SELECT visit_id, arrived_on, arrived_at, visit_kind, symptom, cause_code, technician_id FROM visit
WHERE site_id = ? AND appliance_key = ? AND {own_visits.THEIRS}
ORDER BY arrived_at DESC, visit_id DESC LIMIT {MOST_VISITS}
"""
_HISTORY = f"""
WITH history AS ({_VISITS})
SELECT h.*, s.switches, s.verdicts, r.before_pa, r.after_pa, r.n_readings, e.make_pa
FROM history AS h
LEFT JOIN (SELECT visit_id, string_agg(coalesce(part_number, 'number not recorded'), ', ' ORDER BY swap_id) AS switches,
        string_agg(coalesce(verdict, 'not tested'), ', ' ORDER BY swap_id) AS verdicts
    FROM swap_case WHERE visit_id IN (SELECT visit_id FROM history) GROUP BY visit_id) AS s USING (visit_id)
LEFT JOIN (SELECT visit_id, count(*) AS n_readings,
        arg_max(value_pa, reading_no) FILTER (taken = 'before_repair' AND is_draft) AS before_pa,
        arg_max(value_pa, reading_no) FILTER (taken = 'after_repair' AND is_draft) AS after_pa
    FROM (SELECT *, quantity = 'draft_at_switch' AND value_pa IS NOT NULL AND condition IS DISTINCT FROM 'at_rest'
            AS is_draft FROM reading WHERE visit_id IN (SELECT visit_id FROM history))
    GROUP BY visit_id) AS r USING (visit_id)
LEFT JOIN (SELECT draft_fault_id, make_pa FROM field_evidence WHERE draft_fault_id IN (SELECT visit_id FROM history)) AS e
    ON e.draft_fault_id = h.visit_id
ORDER BY h.arrived_at, h.visit_id
"""
_DRAFTS = f"""
WITH history AS ({_VISITS})
SELECT h.arrived_on, r.visit_id, r.value_pa AS draft_pa, r.taken, r.contacts, r.condition
FROM reading AS r JOIN history AS h USING (visit_id)
WHERE r.quantity = 'draft_at_switch' AND r.value_pa IS NOT NULL ORDER BY h.arrived_at, r.visit_id, r.reading_no
"""
_APPLIANCE = (
    "SELECT appliance_kind, model_code, installed_on, removed_on, rated_make_pa FROM appliance WHERE appliance_id = ?"
)
COLUMNS = (
    ("Date", "text"),
    ("Visit", "text"),
    ("Kind", "text"),
    ("Symptom", "text"),
    ("Cause", "text"),
    ("Switch pulled", "text"),
    ("Bench", "text"),
    ("Draft before", "number"),
    ("Draft after", "number"),
    ("Technician", "text"),
)


def show(visit: dict[str, Any], key: str, opens: Callable[[str, str], None]) -> None:
    """The history of the visit's appliance, drawn when it is opened.

    visit: see visit_sheet.visit_of. key: of the place. opens: draws another visit of it, by its id and a key.
    """
    opened = st.expander("The appliance's whole history", key=f"history_{key}_{visit['visit_id']}", on_change="rerun")
    with opened:
        if opened.open:
            _content(visit, key, opens)


def _content(visit: dict[str, Any], key: str, opens: Callable[[str, str], None]) -> None:
    own_visits.require(visit["visit_id"])
    if not visit["appliance_key"]:
        st.markdown(
            "The records do not prove on which appliance this visit was, so it has no history of an appliance. The nearest "
            "other visits to the site are listed above; they may be to another appliance."
        )
        return
    bound = _bound(visit)
    visits = store_access.frame(_HISTORY, bound)
    drafts = store_access.frame(_DRAFTS, bound)
    appliance = store_access.row(_APPLIANCE, [visit["appliance_key"]])
    unit = store_access.draft_unit()
    points = make_points(appliance, visits)
    st.markdown(words.plain(sentence(visit["appliance_key"], appliance, visits)))
    running = drafts[drafts["condition"].ne("at_rest")]
    chart_drill.draw(
        draft_history(running, points, page.colours(), unit),
        no_picture(visits, drafts),
        f"history_{key}",
        "Visit of a reading",
        readings(running, unit, opens),
    )
    for line in beside(points, drafts, running):
        st.caption(words.plain(line))
    page.rows(COLUMNS, lines(visits, visit["visit_id"], unit), "")
    notices.safety()


def _bound(visit: dict[str, Any]) -> list[Any]:
    return [visit["site_id"], visit["appliance_key"], *own_visits.bound_for_reader()]


def readings(running: pd.DataFrame, unit: str | None, opens: Callable[[str, str], None]) -> list[Mark]:
    """A mark per visit with a draft read, newest first. running: arrived_on, visit_id, draft_pa. opens: see show."""
    found = []
    for visit_id, rows in running.groupby("visit_id", sort=False):
        told = ", ".join(words.pressure(pascal, unit) for pascal in rows["draft_pa"])
        day = words.date(rows["arrived_on"].iloc[0])
        found.append(Mark(str(visit_id), f"{day}: {told}", f"Visit {visit_id} of {day}", partial(opens, str(visit_id))))
    return found[::-1]


def make_points(appliance: dict[str, Any], visits: pd.DataFrame) -> list[float]:
    """The rated make points on record, in pascal, lowest first: of the appliance, else of the switches fitted."""
    rated = appliance.get("rated_make_pa")
    if rated is not None:
        return [float(rated)]
    return sorted({round(float(point), 3) for point in visits["make_pa"].dropna()})


def sentence(appliance_key: str, appliance: dict[str, Any], visits: pd.DataFrame) -> str:
    """Which appliance, how many visits from when to when, how many with a switch pulled."""
    kind = words.label(appliance.get("appliance_kind")) if appliance.get("appliance_kind") else "kind not recorded"
    since = f", installed {words.date(appliance['installed_on'])}" if appliance.get("installed_on") else ""
    gone = f", taken out {words.date(appliance['removed_on'])}" if appliance.get("removed_on") else ""
    n = len(visits)
    whose = "visits of yours" if roles.require_somebody().role == "technician" else "visits"
    told = words.plural(n, whose.replace("visits", "visit"), whose)
    span = words.date(visits["arrived_on"].iloc[0])
    if n > 1:
        span = f"{span} to {words.date(visits['arrived_on'].iloc[-1])}"
    cut = f" These are the newest {words.count(n)}." if n == MOST_VISITS else ""
    pulled = int(visits["switches"].notna().sum())
    return (
        f"Appliance {appliance_key} ({kind}{since}{gone}): {told}, {span}; "
        f"a switch pulled on {words.count(pulled)} of them.{cut}"
    )


def no_picture(visits: pd.DataFrame, drafts: pd.DataFrame) -> str:
    """Why no draft is drawn."""
    if len(drafts):
        return "Draft was read at rest only, when there is none to read: nothing to draw."
    if visits["n_readings"].fillna(0).sum():
        return "No draft at the switch was read on any of these visits; other readings stand in each visit. Ask for one next time."
    return "No reading is on record for any of these visits. Ask for one at the next visit."


def beside(points: list[float], drafts: pd.DataFrame, running: pd.DataFrame) -> list[str]:
    """What is said under the picture: an unknown make point, several of them, readings left out."""
    said = []
    if len(running) and not points:
        said.append("The rated make point is not on record, so the readings are set against nothing.")
    if len(points) > 1:
        said.append("The records name more than one rated make point for this appliance; each has a line.")
    n = len(drafts) - len(running)
    if n and len(running):
        said.append(f"{words.plural(n, 'reading')} at rest not drawn: at rest there is no draft.")
    return said


def lines(visits: pd.DataFrame, this_visit: str, unit: str | None) -> list[tuple[str, ...]]:
    """The visits in order, oldest first, as text. this_visit: the one the reader came from."""
    name_of = code_names.naming()
    return [
        (
            words.date(row.arrived_on),
            f"{row.visit_id} (this one)" if row.visit_id == this_visit else row.visit_id,
            words.label(row.visit_kind),
            words.label(row.symptom),
            words.label(row.cause_code),
            "" if words.is_missing(row.switches) else row.switches,
            _verdicts(row),
            "" if words.is_missing(row.before_pa) else words.pressure(row.before_pa, unit),
            "" if words.is_missing(row.after_pa) else words.pressure(row.after_pa, unit),
            name_of(row.technician_id),
        )
        for row in visits.itertuples()
    ]


def _verdicts(row: Any) -> str:
    if words.is_missing(row.switches):
        return ""
    return ", ".join(words.in_words(one, words.VERDICT_WORDS) for one in row.verdicts.split(", "))
