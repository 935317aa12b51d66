"""Exports in five companies' habits, mapped on the Records page, give the figures of the same fleet in canonical form."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import foreign_habits
import mapping_steps
import postgres_server
import pytest
import served_pages
import service_database
import wide_sheet
from looking import assert_sound
from mapping_steps import choose, records_page

from models.figures.published import as_json
from models.figures.sidecar import figures_for
from pipelines.loading import load
from pipelines.settings import Settings
from pipelines.store import Store
from synthetic_data.generate import generate

pytestmark = pytest.mark.browser

# Maker of the files, and what a person has to choose beside the proposal: label of the choice, option.
HABITS = {
    "coded files": (
        foreign_habits.coded_files,
        [
            ("visit_kind: “nh” means", "no_heat"),
            ("visit_kind: “flt” means", "other_fault"),
            ("visit_kind: “pm” means", "maintenance"),
            ("part_class: “sw press rplcd” means", "draft_switch"),
            ("part_class: “sw gas rplcd” means", "gas_switch"),
            ("part_class: “tubing” means", "hose"),
        ],
    ),
    "workbook with titles and merged cells": (foreign_habits.workbook, []),
    "wide sheet": (
        wide_sheet.wide_sheet,
        [
            ("visit_kind: “pm” means", "maintenance"),
            ("part_class: “sw press rplcd” means", "draft_switch"),
            ("quantity (required): what was read", "What was measured"),
        ],
    ),
    "day first, decimal comma": (foreign_habits.european_files, []),
}


def _figures(home: Path) -> dict[str, Any]:
    return as_json(figures_for(Store(home), Settings.load(home)), "")


@pytest.fixture(scope="module")
def fleet(tmp_path_factory) -> tuple[foreign_habits.Rows, foreign_habits.Rows, dict[str, Any]]:
    """Rows to export, the rows and the figures of the canonical files made of them."""
    folder = tmp_path_factory.mktemp("canonical")
    generate(folder / "made", seed=1, visits=1_000)
    load(folder / "first", [folder / "made" / "records" / f"{table}.csv" for table in foreign_habits.COLUMNS])
    rows = wide_sheet.numbered(foreign_habits.accepted_rows(folder / "first"))
    report = load(folder / "home", foreign_habits.canonical(rows, folder))
    assert not sum(file.n_held_back for file in report.files)
    assert sum(row["part_class"] == "draft_switch" for row in rows["part_lines"]) > 20
    return rows, foreign_habits.accepted_rows(folder / "home"), _figures(folder / "home")


@pytest.mark.parametrize("habit", HABITS)
def test_an_export_mapped_on_the_page_gives_the_figures_of_the_canonical_files(browser, fleet, tmp_path, habit):
    rows, accepted, figures = fleet
    make, choices = HABITS[habit]
    home = tmp_path / "home"
    home.mkdir()
    paths = make(rows, tmp_path)
    with records_page(browser, home) as (tab, seen):
        mapping_steps.upload(tab, paths)
        mapping_steps.read_columns(tab)
        if habit == "wide sheet":
            # A register of appliances is seen in the sheet too; the canonical files have none.
            tab.get_by_role("button", name="Leave this table out").first.click()
            served_pages.settled(tab)
        _finish(tab, seen, rows, choices)
    assert foreign_habits.accepted_rows(home) == accepted
    assert _figures(home) == figures


def test_a_database_mapped_on_the_page_gives_the_figures_of_the_canonical_files(browser, fleet, tmp_path, monkeypatch):
    rows, accepted, figures = fleet
    home = tmp_path / "home"
    home.mkdir()
    with postgres_server.running() as line:
        service_database.filled(rows, line, postgres_server.PASSWORD)
        # As whoever runs the pages would set it; nothing typed on the page holds it.
        monkeypatch.setenv("PGPASSWORD", postgres_server.PASSWORD)
        with records_page(browser, home) as (tab, seen):
            mapping_steps.ask_database(tab, line, service_database.QUERIES)
            mapping_steps.read_columns(tab)
            choices = [("visit_kind: “nh” means", "no_heat"), ("visit_kind: “flt” means", "other_fault")]
            choices.append(("quantity (required): what was read", "quantity"))
            _finish(tab, seen, rows, choices)
    assert foreign_habits.accepted_rows(home) == accepted
    assert _figures(home) == figures
    (kept,) = (home / "mappings").glob("*.toml")
    assert postgres_server.PASSWORD not in kept.read_text("utf-8")


def test_a_database_that_is_down_refuses_or_would_be_written_to_is_told_in_words(browser, tmp_path, monkeypatch):
    home = tmp_path / "home"
    home.mkdir()
    monkeypatch.setenv("PGPASSWORD", postgres_server.PASSWORD)
    nobody = f"host=127.0.0.1 port={served_pages.free_port()} dbname=x"
    with postgres_server.running() as line, records_page(browser, home) as (tab, _):
        for connection, queries, said in (
            (nobody, "v: SELECT 1", "cannot be reached"),
            (line.replace("user=owner", "user=stranger"), "v: SELECT 1", "cannot be reached"),
            (f"{line} password=hush", "v: SELECT 1", "holds a password"),
            (line, "SELECT 1", "belongs to no query"),
            (line, "v: DROP TABLE x", "must be one SELECT"),
            (line, "v: SELECT 1; COMMIT; DROP TABLE x", "holds more than one statement"),
            (line, "v: SELECT * FROM nothing", "does not exist"),
        ):
            mapping_steps.ask_database(tab, connection, queries)
            tab.get_by_role("button", name="Read the columns").click()
            tab.locator("[data-testid=stAlert]").get_by_text(said).first.wait_for(timeout=30_000)
            served_pages.settled(tab)
            assert postgres_server.PASSWORD not in tab.content()
            assert tab.get_by_role("button", name="Show 20 rows in").count() == 0


def _finish(tab, seen, rows: foreign_habits.Rows, choices: list[tuple[str, str]]) -> None:
    """Make the choices, look that every row is accepted, confirm and load."""
    for label, option in choices:
        choose(tab, label, option)
    mapping_steps.preview(tab)
    for some in rows.values():
        said = f"{len(some):,} rows = {len(some):,} accepted + 0 held back + 0 exact duplicates"
        assert tab.get_by_text(said).count() == 1, said
    mapping_steps.confirm(tab)
    assert_sound(tab, seen)
