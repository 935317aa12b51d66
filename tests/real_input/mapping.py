"""Two foreign exports put into the contract's columns by a small hand-written mapping."""

from __future__ import annotations

from pathlib import Path

import duckdb

DATA = Path(__file__).parents[1] / "data"

BOSTON = """
SELECT 'C' || CASE_ENQUIRY_ID AS visit_id, address_code AS site_id,
    coalesce(nullif(pwd_district, ''), 'none') AS technician_id,
    open_dt AS arrived_at, nullif(closed_dt, 'NA') AS left_at,
    CASE TYPE WHEN 'Heat - Excessive  Insufficient' THEN 'no_heat' ELSE 'other_fault' END AS visit_kind,
    'no_heat_other' AS symptom, CASE CASE_STATUS WHEN 'Closed' THEN 'yes' ELSE 'no' END AS is_declared_complete,
    nullif(CLOSURE_REASON, 'NA') AS notes
FROM read_csv(?, all_varchar = true)
"""

# PM01 corrective, PM02 planned, others as they come; the file has no order number, so its row number stands for it.
EXCAVATORS = """
SELECT 'W' || row_number() OVER () AS visit_id, Asset AS site_id, Asset AS appliance_id, 'none' AS technician_id,
    BscStartDate AS arrived_at,
    CASE PMType WHEN 'PM01' THEN 'other_fault' WHEN 'PM02' THEN 'maintenance' ELSE 'other' END AS visit_kind,
    OriginalShorttext AS notes, Cost AS cost
FROM read_csv(?, all_varchar = true)
"""


def write_boston(folder: Path) -> Path:
    """Write the heat complaints as canonical `visits.csv`; returns the folder."""
    return _write(folder, {"visits": BOSTON}, "boston_heat_complaints.csv")


def write_excavators(folder: Path) -> Path:
    """Write the work orders as `visits.csv`, and their cost as one line each in `part_lines.csv`."""
    lines = f"SELECT visit_id, 1 AS line_no, 'other' AS part_class, 1 AS quantity, cost AS price FROM ({EXCAVATORS})"
    visits = f"SELECT * EXCLUDE (cost) FROM ({EXCAVATORS})"
    return _write(folder, {"visits": visits, "part_lines": lines}, "excavators_raw.csv")


def _write(folder: Path, queries: dict[str, str], source: str) -> Path:
    folder.mkdir(parents=True, exist_ok=True)
    con = duckdb.connect()
    for table, query in queries.items():
        con.sql(query, params=[str(DATA / source)]).write_csv(str(folder / f"{table}.csv"))
    return folder
