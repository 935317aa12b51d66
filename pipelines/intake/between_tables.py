"""What shows only between rows, or between tables: told in the load report once all files of a load have been settled.

Nothing is changed by it. What counts as worth telling is common practice in the trade, without a published source.
"""

from __future__ import annotations

import duckdb

from pipelines.intake.numbered import numbered
from pipelines.intake.sql_text import count, text

_SWITCH_WORDS = r"(?i)\b(switch|sw|proving|p/s)\b"
_PRESSURE_SWITCH = r"(?i)\b(press|pressure|p/s)\b"
# Serial numbers that name no appliance.
_NO_SERIAL = r"(?i)(unknown|none|not legible|n/?a|[\s0?.-]*)"
# An appliance installed this close to the day another left its site took its place, in days before and after.
_DAYS_BEFORE, _DAYS_AFTER = 30, 90

_LINES = (
    """FROM delivered.part_lines AS l LEFT JOIN delivered.parts AS p USING (part_number) WHERE l.load_id = {load_id}"""
)
# Table -> the query of how many rows, and what stands behind that number.
_NOTICES: dict[str, tuple[tuple[str, str], ...]] = {
    "visits": (
        (
            """SELECT count(*) FROM delivered.visits AS v WHERE v.load_id = {load_id} AND v.appliance_id IS NOT NULL
                AND EXISTS (FROM delivered.appliances AS a WHERE a.appliance_id = v.appliance_id)
                AND NOT EXISTS (FROM delivered.appliances AS a WHERE a.appliance_id = v.appliance_id AND a.site_id = v.site_id)""",
            "[visit names an appliance|visits name appliances] on record at another site only. Where the two are one site, a mapping says so "
            "([aliases.sites]), and visits to both count together.",
        ),
    ),
    "parts": (
        (
            """SELECT count(*) FROM (
                WITH RECURSIVE step AS (
                    SELECT part_number AS first, superseded_by AS now, 1 AS n FROM delivered.parts
                    WHERE load_id = {load_id} AND superseded_by IS NOT NULL
                    UNION SELECT s.first, p.superseded_by, s.n + 1 FROM step AS s JOIN delivered.parts AS p ON p.part_number = s.now
                    WHERE p.superseded_by IS NOT NULL AND s.now <> s.first AND s.n < 10)
                SELECT DISTINCT first FROM step WHERE now = first)""",
            "[part is|parts are] replaced, in the end, by [itself|themselves]: put superseded_by right.",
        ),
    ),
    "part_lines": (
        (
            f"SELECT count(*) {_LINES} AND coalesce(l.part_class, p.part_class) IN ('gas_switch', 'water_switch', "
            f"'refrigerant_switch') AND regexp_matches(l.description, {text(_PRESSURE_SWITCH)})",
            "[line is|lines are] called pressure switch and [belongs|belong] to a gas, water or refrigerant circuit by the part "
            "class; none of them is a swap.",
        ),
        (
            f"SELECT count(*) {_LINES} AND l.part_class IS NULL AND p.part_class IS NULL AND p.superseded_by IS NULL "
            "AND NOT EXISTS (FROM delivered.parts AS r WHERE r.superseded_by = l.part_number) "
            f"AND regexp_matches(l.description, {text(_SWITCH_WORDS)})",
            "[line speaks|lines speak] of a switch and [has|have] no part class, neither on the line nor in the table parts; not "
            "counted, though [it may be a swap|they may be swaps]. Give the class in parts or by a mapping.",
        ),
    ),
    "bench_tests": (
        (
            """SELECT count(*) FROM delivered.bench_tests AS b WHERE b.load_id = {load_id} AND b.removed_tag IS NOT NULL
                AND b.removed_tag NOT IN (SELECT removed_tag FROM delivered.part_lines WHERE removed_tag IS NOT NULL)
                AND NOT EXISTS (FROM delivered.part_lines AS l WHERE l.visit_id = b.visit_id AND l.removed_tag IS NULL)""",
            "bench [test names|tests name] a tag that no part line on record has: no swap on record has this tag; the result counts "
            "once one does. The page Bench lists [it|them].",
        ),
    ),
    "visit_crew": (
        (
            """SELECT count(*) FROM (
                SELECT c.visit_id FROM delivered.visit_crew AS c LEFT JOIN delivered.visits AS v USING (visit_id)
                WHERE c.load_id = {load_id} GROUP BY c.visit_id
                HAVING count(DISTINCT c.technician_id) > 1 OR bool_or(c.technician_id <> v.technician_id))""",
            "[visit|visits] had two technicians or more; [it counts|they count] for the lead that the visit names.",
        ),
    ),
    "appliances": (
        (
            f"""SELECT count(DISTINCT old.appliance_id) FROM delivered.appliances AS old
                JOIN delivered.appliances AS new ON new.site_id = old.site_id AND new.appliance_id <> old.appliance_id
                WHERE (old.load_id = {{load_id}} OR new.load_id = {{load_id}})
                    AND new.appliance_kind IS NOT DISTINCT FROM old.appliance_kind
                    AND new.installed_on BETWEEN old.removed_on - {_DAYS_BEFORE} AND old.removed_on + {_DAYS_AFTER}""",
            "[appliance was|appliances were] taken out and one of the same kind was put in [its|their] place; the two are kept apart, and what "
            "happens to the new one is no callback of the old.",
        ),
        (
            f"""SELECT count(*) FROM (
                SELECT site_id FROM delivered.appliances
                WHERE removed_on IS NULL AND regexp_full_match(coalesce(serial_number, ''), {text(_NO_SERIAL)})
                GROUP BY site_id, appliance_kind, model_code
                HAVING count(*) > 1 AND bool_or(load_id = {{load_id}}))""",
            "[group of twins stands|groups of twins stand] on a site, of one kind and model, without a serial number: a visit "
            "that does not name which stays not proven.",
        ),
    ),
}


def between_tables(con: duckdb.DuckDBPyConnection, table_name: str | None, load_id: int) -> tuple[str, ...]:
    """One sentence for each kind among the rows a load brought into force. con: holds all files of the load, settled."""
    found = ((count(con, query.format(load_id=load_id)), said) for query, said in _NOTICES.get(table_name or "", ()))
    return tuple(numbered(n, said) for n, said in found if n)
