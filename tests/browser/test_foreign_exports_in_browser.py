"""Exports in three companies' habits, mapped on the Records page, give the figures of the same fleet in canonical form."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import foreign_habits
import pytest
import served_pages
from test_mapping_in_browser import choose
from test_pages_in_browser import assert_sound, opened

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
    rows = foreign_habits.accepted_rows(folder / "first")
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
    with (
        served_pages.served(home) as address,
        opened(browser, served_pages.address_of(address, "records")) as (tab, seen),
    ):
        tab.locator("input[type=file]").nth(1).set_input_files([str(path) for path in paths])
        served_pages.settled(tab)
        tab.get_by_role("button", name="Read the columns").click()
        tab.get_by_role("button", name="Show 20 rows in, 20 rows out").wait_for(timeout=60_000)
        served_pages.settled(tab)
        for label, option in choices:
            choose(tab, label, option)
        tab.get_by_role("button", name="Show 20 rows in, 20 rows out").click()
        # Trying begins a moment after the click.
        tab.get_by_text("I looked through every line").wait_for(timeout=60_000)
        served_pages.settled(tab)
        for some in rows.values():
            said = f"{len(some):,} rows = {len(some):,} accepted + 0 held back + 0 exact duplicates"
            assert tab.get_by_text(said).count() == 1, said
        tab.get_by_text("I looked through every line").click()
        served_pages.settled(tab)
        tab.get_by_role("button", name="Confirm and load").click()
        tab.get_by_text("What the load did").wait_for(timeout=120_000)
        served_pages.settled(tab)
        assert_sound(tab, seen)
    assert foreign_habits.accepted_rows(home) == accepted
    assert _figures(home) == figures
