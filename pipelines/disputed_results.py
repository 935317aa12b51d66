"""Bench results that disagree: tests of one switch with different verdicts, and verdicts a person corrected against the readings.

Each test is judged by the SELECT of bench_result itself, alone and without corrections; which of them counts is what
bench_result says.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import duckdb

from pipelines.relations import SQL_FOLDER, narrowed, read_relation

_RESULT = SQL_FOLDER / "facts" / "bench_result.sql"
# A correction of one tag holds before one of all switches of the visit, as in bench_result.
_CORRECTED = """
    SELECT w.swap_id, c.new_value, c.reason, c.corrected_by, c.corrected_at
    FROM correction AS c JOIN swap AS w ON w.visit_id = c.visit_id AND (c.target IS NULL OR c.target = w.removed_tag)
    WHERE c.corrected_field = 'bench_result'
    QUALIFY row_number() OVER (PARTITION BY w.swap_id ORDER BY c.target NULLS LAST) = 1
"""
# Only these can be disputed; all others are left alone.
_DOUBTED = f"""
    SELECT swap_id FROM bench_result WHERE n_tests > 1 OR swap_id IN (SELECT swap_id FROM ({_CORRECTED}))
"""
# Every test stands for a switch of its own, so that each has its verdict at once.
_ALONE = {
    "bench_match": """
        SELECT bench_test_id, bench_test_id AS swap_id, site_id FROM bench_match JOIN doubted USING (swap_id)""",
    "swap": """
        SELECT w.* REPLACE (m.bench_test_id AS swap_id)
        FROM swap AS w JOIN bench_match AS m USING (swap_id) JOIN doubted USING (swap_id)""",
    "correction": "SELECT * FROM correction WHERE false",
}
_DISPUTED = f"""
WITH corrected AS ({_CORRECTED}),
test AS (
    SELECT m.swap_id, b.tested_at, b.bench_test_id, b.tester_id, j.verdict, j.reason,
        r.bench_test_id = b.bench_test_id AS is_last
    FROM judged AS j JOIN bench_match AS m USING (bench_test_id) JOIN bench_test AS b USING (bench_test_id)
    JOIN bench_result AS r ON r.swap_id = m.swap_id
),
disputed AS (
    SELECT t.swap_id, bool_or(t.verdict = 'good' OR c.new_value = 'good')
            AND bool_or(t.verdict = 'faulty' OR c.new_value = 'faulty') AS is_opposed
    FROM test AS t LEFT JOIN corrected AS c USING (swap_id)
    GROUP BY t.swap_id
    HAVING count(DISTINCT t.verdict) > 1
        OR bool_or(t.is_last AND t.verdict <> c.new_value)
),
said AS (
    SELECT t.swap_id, false AS is_correction, t.verdict, t.tested_at AS said_at, t.bench_test_id AS said_no,
        t.tester_id AS said_by, t.reason, t.is_last AND c.swap_id IS NULL AS is_counted
    FROM test AS t LEFT JOIN corrected AS c USING (swap_id)
    UNION ALL
    SELECT swap_id, true, new_value, corrected_at, '', corrected_by, reason, true FROM corrected
)
SELECT s.swap_id, w.removed_tag, w.part_number, w.visit_id, w.diagnosed_by AS technician_id, s.is_correction, s.verdict,
    local_date(s.said_at, g.time_zone) AS said_on, s.said_by,
    (SELECT min(p.technician_id) FROM technician AS p
        WHERE p.technician_id = s.said_by OR lower(p.technician_name) = lower(s.said_by)) AS said_by_technician,
    s.reason, s.is_counted
FROM said AS s JOIN disputed AS d USING (swap_id) JOIN swap AS w USING (swap_id) CROSS JOIN setting AS g
ORDER BY d.is_opposed DESC, w.swapped_at DESC, s.swap_id, s.is_correction, s.said_at, s.said_no
"""


@dataclass(frozen=True)
class Said:
    """One verdict of a disputed switch: of a test, or of a correction.

    technician_id: who decided on the swap. said_by: as written; said_by_technician: whose id or name that is, if any's.
    reason: of a test what its readings say, of a correction why it was made. is_counted: whether the figures hold it.
    """

    swap_id: str
    removed_tag: str | None
    part_number: str | None
    visit_id: str
    technician_id: str | None
    is_correction: bool
    verdict: str
    said_on: date | None
    said_by: str | None
    said_by_technician: str | None
    reason: str | None
    is_counted: bool


def disputed_results(con: duckdb.DuckDBPyConnection) -> list[Said]:
    """Every verdict of every disputed switch: good against faulty first, then the newest swap; a switch's in their order.

    con: a connection of its own on the generation in force.
    """
    con.execute(f"CREATE OR REPLACE TEMP TABLE doubted AS {_DOUBTED}")
    for name, select in _ALONE.items():
        con.execute(f"CREATE OR REPLACE TEMP TABLE alone_{name} AS {select}")
    alone = {name: f"alone_{name}" for name in _ALONE}
    con.execute(f"CREATE OR REPLACE TEMP TABLE judged AS {narrowed(con, read_relation(con, _RESULT), alone, 'temp')}")
    return [Said(*row) for row in con.execute(_DISPUTED).fetchall()]
