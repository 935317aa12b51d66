"""What of a query is accepted, and what is refused by its text before anything is sent."""

from __future__ import annotations

import pytest

from pipelines.mapping.database import fetched
from pipelines.mapping.declared import Mapping, MappingError, Source
from pipelines.mapping.query_text import names_in, one_read

READS = {
    "SELECT 1": "SELECT 1",
    "select * from a;": "select * from a",
    "SELECT 1; -- remark": "SELECT 1",
    "SELECT 1 ; /* a; /* b; */ c */ ; -- d; e\n": "SELECT 1",
    "SELECT 1 -- remark; and more": "SELECT 1 -- remark; and more",
    "-- first\n/* ; */ SELECT 1": "-- first\n/* ; */ SELECT 1",
    "(SELECT 1) UNION (SELECT 2)": "(SELECT 1) UNION (SELECT 2)",
    "( ( select 1 ) union all select 2 ) order by 1": "( ( select 1 ) union all select 2 ) order by 1",
    "WITH x AS (SELECT 1 AS n), y AS (TABLE x) SELECT n FROM y": None,
    "WITH RECURSIVE x(n) AS (VALUES (1) UNION ALL SELECT n + 1 FROM x WHERE n < 3) SELECT n FROM x": None,
    "(WITH x AS MATERIALIZED (SELECT 1) SELECT * FROM x) UNION SELECT 2": None,
    "VALUES (1), (2)": None,
    "TABLE visits": None,
    # Words that write, as texts and names.
    "SELECT 'DELETE FROM a; DROP TABLE b', \"insert into\", $$ ; DELETE FROM a $$, $x$ $$ ; $x$ FROM a": None,
    r"SELECT E'it\'s; DELETE FROM a' AS into, 'a''; b' FROM t": None,
    "SELECT a.into, a.update, delete FROM a WHERE kind IN ('update', 'delete from')": None,
    "SELECT count(*) AS update, max(update) FROM (SELECT update, set FROM a) a": None,
    "SELECT a$b$c, d FROM t -- $b$ ;": None,
    "SELECT updated_at, deleted FROM a WHERE (updated_at > now()) OR (deleted)": None,
}


@pytest.mark.parametrize("text", READS)
def test_reads_in_any_dress_are_accepted(text):
    assert one_read("calls", text) == (READS[text] or text)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "is empty"),
        (" ;; -- nothing", "is empty"),
        ("( /* nothing */ )", "begins with ')'"),
        ("DELETE FROM a", "begins with 'DELETE FROM a'"),
        ("(DELETE FROM a RETURNING *)", "begins with 'DELETE FROM a"),
        ("/* SELECT */ DROP TABLE a", "begins with 'DROP TABLE a'"),
        ("selected", "begins with 'selected'"),
        ("EXPLAIN ANALYZE SELECT 1", "begins with 'EXPLAIN"),
        ("SELECT 1; DROP TABLE x", "holds more than one statement ('DROP TABLE x' follows the first)"),
        ("SELECT 1 /* ; */ ; -- ;\n COMMIT", "holds more than one statement ('COMMIT' follows"),
        ("SELECT 'a;' ; SELECT 2", "holds more than one statement ('SELECT 2' follows"),
        (r"SELECT '\'; DROP TABLE x --'", 'holds more than one statement ("DROP TABLE x --\'" follows'),
        (
            "SELECT * FROM a) TO STDOUT; COMMIT; DROP TABLE a; COPY (SELECT 1",
            "holds more than one statement ('COMMIT; DROP",
        ),
        ("WITH x AS (DELETE FROM a RETURNING *) SELECT * FROM x", "writes (DELETE)"),
        ("WITH x AS (\n  delete /* */ from a\n) SELECT 1", "writes (DELETE)"),
        ("WITH x AS MATERIALIZED (UPDATE ONLY svc.a AS b SET c = 1 RETURNING *) SELECT 1", "writes (UPDATE)"),
        ('WITH x AS (UPDATE "a b" SET (c, d) = (1, 2) RETURNING *) SELECT 1', "writes (UPDATE)"),
        ("WITH x AS (INSERT INTO a VALUES (1) RETURNING *) SELECT 1", "writes (INSERT INTO)"),
        ("WITH x AS (MERGE INTO a USING b ON a.c = b.c WHEN MATCHED THEN DELETE) SELECT 1", "writes (MERGE INTO)"),
        ("WITH x AS (SELECT 1) DELETE FROM a USING x", "writes (DELETE)"),
        ("WITH x (n) AS (SELECT 1), y AS (SELECT 2) UPDATE a SET b = 1", "writes (UPDATE)"),
        ("WITH x AS (WITH y AS (DELETE FROM a RETURNING *) TABLE y) SELECT * FROM x", "writes (DELETE)"),
        ("SELECT * INTO b FROM a", "writes (INTO)"),
    ],
)
def test_what_does_not_read_is_refused_with_its_reason_before_anything_is_sent(text, said):
    # The connection leads nowhere: who tried it would be told so instead.
    asked = Mapping("asked", (Source((), query=text, name="calls"),), connection="host=127.0.0.1 port=1")
    with (
        pytest.raises(MappingError, match="must be one SELECT. Nothing is ever written") as refused,
        fetched(asked, lambda *_: None),
    ):
        pass
    assert str(refused.value).startswith(f"The query 'calls' {said}")


def test_the_names_of_a_query_are_those_the_database_knows():
    text = 'SELECT v.Notes, \'not this\' FROM Svc."Visits ""old""" v -- nor this'
    assert names_in(text) == {"select", "v", "notes", "from", "svc", 'Visits "old"'}
