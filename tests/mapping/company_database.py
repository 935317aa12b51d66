"""The small company's records as tables of its own database, and a mapping that asks for them."""

from __future__ import annotations

import psycopg
from foreign_company import CANONICAL, LINES, READINGS, VISITS


def fill(server: str) -> None:
    """Put the records into the schema svc, anew. server: a connection line; its password is in the environment."""
    with psycopg.connect(server, autocommit=True) as con:
        con.execute("DROP SCHEMA IF EXISTS svc CASCADE")
        con.execute("CREATE SCHEMA svc")
        for table, lines in CANONICAL.items():
            spelled = ", ".join(f"{column} text" for column in lines[0].split(","))
            con.execute(f"CREATE TABLE svc.{table} ({spelled})")
            with con.cursor().copy(f"COPY svc.{table} FROM STDIN (FORMAT csv, HEADER)") as copy:
                copy.write("\n".join(lines) + "\n")
        con.execute("ALTER TABLE svc.visits ALTER arrived_at TYPE timestamptz USING (arrived_at || 'Z')::timestamptz")


def _columns(lines) -> str:
    return "\n".join(f'{column} = "{column}"' for column in lines[0].split(","))


def toml(connection: str, visits: str = "SELECT * FROM svc.visits ORDER BY visit_id", timeout: int = 60) -> str:
    blocks = [f'name = "service database"\nconfirmed = true\n[database]\nconnection = "{connection}"',
              f"timeout_seconds = {timeout}"]  # fmt: skip
    queries = {
        "visits": visits,
        "part_lines": "SELECT * FROM svc.part_lines",
        "readings": "SELECT * FROM svc.readings;",
    }
    for (table, query), lines in zip(queries.items(), (VISITS, LINES, READINGS), strict=True):
        blocks.append(
            f'[[source]]\nname = "{table}"\nquery = """{query}"""\n[[source.table]]\ntable = "{table}"\n'
            f"[source.table.columns]\n{_columns(lines)}"
        )
    return "\n".join(blocks)
