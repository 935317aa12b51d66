"""A small company's records in canonical form, and a mapping of one file of calls."""

from __future__ import annotations

import csv

VISITS = (
    "visit_id,site_id,technician_id,arrived_at,left_at,visit_kind,symptom,cause_code,is_declared_complete,notes",
    "V1,S1,T1,2025-01-05T08:00:00,2025-01-05T09:30:00,no_heat,draft_not_proven,trap_fouled,yes,trap was full",
    'V2,S2,T2,2025-02-28T14:05:00,2025-02-28T15:00:00,no_heat,runs_then_stops,,no,"waiting, part ordered"',
    "V3,S1,T1,2025-03-02T07:45:00,,maintenance,,,yes,",
    "V4,S3,T3,2025-11-30T23:10:00,2025-12-01T00:20:00,other_fault,,not_found,yes,quiet",
)
LINES = (
    "visit_id,line_no,part_number,part_class,quantity,price,removed_tag",
    "V1,1,PS-100,draft_switch,1,84.50,TAG1",
    "V1,2,HOSE-3,hose,2,6.00,",
    "V2,1,PS-100,draft_switch,1,1084.50,TAG2",
    "V4,1,GS-9,gas_switch,1,40.00,",
)
READINGS = (
    "visit_id,reading_no,quantity,value,unit",
    "V1,1,draft_at_switch,0.42,in. w.c.",
    "V1,2,draft_at_switch,0.91,in. w.c.",
    "V2,1,draft_at_switch,-0.63,in. w.c.",
)
CANONICAL = {"visits": VISITS, "part_lines": LINES, "readings": READINGS}


def rows_of(lines: tuple[str, ...]) -> list[dict[str, str]]:
    return list(csv.DictReader(lines))


CALLS = """
name = "calls"
confirmed = true
[[source]]
file = "calls*.csv"
columns = ["Call", "Site", "Tech", "In", "Kind"]
[[source.table]]
table = "visits"
[source.table.columns]
visit_id = "Call"
site_id = "Site"
technician_id = "Tech"
arrived_at = "In"
visit_kind = { column = "Kind", codes = { "PM" = "maintenance" } }
"""
