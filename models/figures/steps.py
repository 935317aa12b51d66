"""Which steps were taken before a switch was condemned: process, shown before outcome."""

from __future__ import annotations

import duckdb
import pandas as pd

from models.figures.scope import Scope

ENOUGH_CHECKS = 3
ENOUGH_NOTE_CHARACTERS = 20
# Columns of swap_case behind each process rate.
RATES = {
    "reading_rate": "coalesce(has_gauge_reading, false)",
    "checks_rate": f"coalesce(n_checks_done, 0) >= {ENOUGH_CHECKS}",
    "cause_rate": "coalesce(has_root_cause, false)",
    "after_reading_rate": "coalesce(has_after_reading, false)",
    "note_rate": f"coalesce(n_note_characters, 0) >= {ENOUGH_NOTE_CHARACTERS}",
}


def process_rates(con: duckdb.DuckDBPyConnection, scope: Scope) -> pd.DataFrame:
    """DataFrame[technician_id (who diagnosed), n_process (swaps), RATES], ordered by technician."""
    condition, values = scope.where("swapped_on")
    columns = ", ".join(f"avg(CASE WHEN {test} THEN 1.0 ELSE 0.0 END) AS {name}" for name, test in RATES.items())
    return con.execute(
        f"""SELECT diagnosed_by AS technician_id, count(*) AS n_process, {columns} FROM swap_case
        WHERE {condition} GROUP BY diagnosed_by ORDER BY diagnosed_by""",
        values,
    ).df()


def step_rates(con: duckdb.DuckDBPyConnection, scope: Scope) -> tuple[pd.DataFrame, pd.DataFrame]:
    """How often each check was done on draft faults with a swap.

    Returns DataFrame[technician_id, step, n, n_done, rate, company_rate] for technicians, and DataFrame[step, n,
    n_done, rate]
    for the company, which also holds the process rates. A check counts as done when an outcome other than not_done
    stands
    on the swap's visit or the first visit of its job.
    """
    condition, values = scope.where("swapped_on", prefix="s.")
    by_technician = con.execute(
        f"""
        WITH swaps AS (SELECT s.swap_id, s.diagnosed_by AS technician_id, s.visit_id, s.draft_fault_id FROM swap_case s
            WHERE {condition}),
        done AS (
            SELECT DISTINCT w.swap_id, w.technician_id, c.check_code AS step FROM swaps w JOIN visit_check c
                ON c.visit_id = w.visit_id WHERE c.outcome <> 'not_done'
            UNION
            SELECT w.swap_id, w.technician_id, c.check_code FROM swaps w JOIN visit_check c
                ON c.visit_id = w.draft_fault_id WHERE c.outcome <> 'not_done'),
        total AS (SELECT technician_id, count(*) AS n FROM swaps GROUP BY technician_id),
        counted AS (SELECT technician_id, step, count(*) AS n_done FROM done GROUP BY technician_id, step)
        SELECT t.technician_id, k.step, t.n, coalesce(c.n_done, 0) AS n_done
        FROM total t CROSS JOIN (SELECT DISTINCT step FROM counted) k
        LEFT JOIN counted c USING (technician_id, step) ORDER BY t.technician_id, k.step""",
        values,
    ).df()
    company = by_technician.groupby("step", as_index=False)[["n", "n_done"]].sum()
    company["rate"] = company["n_done"] / company["n"]
    by_technician["rate"] = by_technician["n_done"] / by_technician["n"]
    by_technician["company_rate"] = by_technician["step"].map(company.set_index("step")["rate"])
    return by_technician, pd.concat([_company_processes(con, scope), company], ignore_index=True)


def _company_processes(con: duckdb.DuckDBPyConnection, scope: Scope) -> pd.DataFrame:
    condition, values = scope.where("swapped_on")
    columns = ", ".join(f"count(*) FILTER ({test}) AS {name}" for name, test in RATES.items())
    row = con.execute(f"SELECT count(*), {columns} FROM swap_case WHERE {condition}", values).fetchone()
    assert row is not None
    frame = pd.DataFrame({"step": list(RATES), "n": row[0], "n_done": list(row[1:])})
    frame["rate"] = frame["n_done"] / frame["n"].where(frame["n"] > 0)
    return frame.astype({"n": "int64", "n_done": "int64", "rate": "float64"})
