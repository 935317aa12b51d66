"""The build reads notes with the declared vocabulary, and anew when it changed."""

from __future__ import annotations

import duckdb
import pytest

import pipelines.build
from pipelines.build import build
from pipelines.changes import Changes
from pipelines.contract.ddl import create_delivered
from pipelines.notes.reader import build_macros
from pipelines.settings import Settings


@pytest.fixture
def con():
    connection = duckdb.connect(config={"threads": 1})
    create_delivered(connection)
    connection.execute("""
        INSERT INTO delivered.visits (visit_id, site_id, arrived_at, visit_kind, symptom, cause_code, notes)
        VALUES ('v1', 's1', '2024-01-01', 'no_heat', 'draft_not_proven', 'trap_fouled', 'trap blorked')""")
    connection.execute("CREATE TEMP TABLE touched AS SELECT 's2' AS site_id")
    return connection


def test_another_vocabulary_reads_the_notes_of_all_sites_anew(con, monkeypatch):
    build(con, Settings())
    assert con.execute("SELECT tier, note_words FROM root_cause").fetchone() == ("code_only", None)
    assert build(con, Settings(), Changes("touched")).is_incremental
    widened = build_macros().replace("slime", "blorked")
    assert widened != build_macros()
    monkeypatch.setattr(pipelines.build, "build_macros", lambda: widened)
    assert not build(con, Settings(), Changes("touched")).is_incremental
    assert con.execute("SELECT tier, note_words FROM root_cause").fetchone() == ("described", "trap blorked")
