"""Whatever hands rows or figures to a page asks for the right itself: each such function, called under each role."""

from __future__ import annotations

import ast
import re
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from dashboard import (
    answered,
    bench_disputed,
    bench_entered,
    bench_tests,
    bench_waiting,
    coaching_sessions,
    figures_access,
    lookups,
    record_lookups,
    remarks,
    roles,
    season_lookups,
    sign_in,
    store_access,
    visit_sheet,
)
from dashboard.printed import warranty
from models.figures.scope import Scope
from pipelines.errors import GoodpullError

EMAIL = "{}@company.example"
ALL = Scope()
M, T, W, X = "manager", "trainer", "owner", "technician"
READERS = (M, T, W, X, "stranger", None)
# function: how it is called (own technician, other technician, a visit of each, a claim), and who gets an answer.
TABLE: dict[str, tuple[Callable[[Any], Any], set[str]]] = {
    "lookups.latest_week": (lambda one: lookups.latest_week(ALL), {M, T, W}),
    "lookups.safety_items": (lambda one: lookups.safety_items(ALL), {M, W}),
    "lookups.quick_returns": (lambda one: lookups.quick_returns(ALL), {M, W}),
    "lookups.maturing": (lambda one: lookups.maturing(ALL), {M, W}),
    "lookups.recent_swaps": (lambda one: lookups.recent_swaps(ALL), {M, W}),
    "lookups.missing_evidence": (lambda one: lookups.missing_evidence(ALL), {M, W}),
    "lookups.coaching_log": (lambda one: lookups.coaching_log(), {M, T}),
    "lookups.coaching_log own": (lambda one: lookups.coaching_log(one.own), {M, T, X}),
    "lookups.coaching_log other": (lambda one: lookups.coaching_log(one.other), {M, T}),
    "coaching_sessions.log": (lambda one: coaching_sessions.log(), {M, T}),
    "coaching_sessions.log own": (lambda one: coaching_sessions.log(one.own), {M, T, X}),
    "coaching_sessions.log other": (lambda one: coaching_sessions.log(one.other), {M, T}),
    "coaching_sessions.enter": (lambda one: coaching_sessions.enter(one.own, {}, "Chief", "one"), {M, T}),
    "lookups.own_extent": (lambda one: lookups.own_extent(one.other, ALL), {M, T}),
    "lookups.own_extent own": (lambda one: lookups.own_extent(one.own, ALL), {M, T, X}),
    "lookups.margins": (lambda one: lookups.margins("S1"), {M, T, W}),
    "lookups.refusals": (lambda one: lookups.refusals(ALL), {M, W}),
    "lookups.claims": (lambda one: lookups.claims(ALL), {M, W}),
    "record_lookups.totals": (lambda one: record_lookups.totals(), {M, T}),
    "record_lookups.ledger": (lambda one: record_lookups.ledger(), {M, T}),
    "record_lookups.mappings_of_loads": (lambda one: record_lookups.mappings_of_loads(), {M}),
    "record_lookups.mapping_text": (lambda one: record_lookups.mapping_text("none"), {M}),
    "record_lookups.held_back_reasons": (lambda one: record_lookups.held_back_reasons(), {M, T}),
    "record_lookups.n_held_back_open": (lambda one: record_lookups.n_held_back_open(), {M, T}),
    "record_lookups.held_back_settled": (lambda one: record_lookups.held_back_settled(), {M, T}),
    "record_lookups.n_held_back_cells": (lambda one: record_lookups.n_held_back_cells(), {M, T}),
    "record_lookups.held_back_rows": (lambda one: record_lookups.held_back_rows(), {M, T}),
    "record_lookups.columns_left_out": (lambda one: record_lookups.columns_left_out(), {M, T}),
    "record_lookups.health": (lambda one: record_lookups.health(), {M, T}),
    # Names of tables only; the technician's own sheet says by them which step cannot be told.
    "record_lookups.empty_tables": (lambda one: record_lookups.empty_tables(), {M, T, W, X}),
    "season_lookups.sites_to_check": (lambda one: season_lookups.sites_to_check(ALL), {M, T, W}),
    "season_lookups.first_frosts": (lambda one: season_lookups.first_frosts(7), {M, T, W}),
    "season_lookups.parts_used": (lambda one: season_lookups.parts_used(ALL), {M, T, W}),
    "warranty.warranty_pack": (lambda one: warranty.warranty_pack(one.claim), {M, W}),
    "bench_tests.before": (lambda one: bench_tests.before(), {M, T}),
    "bench_tests.kept_lists": (lambda one: bench_tests.kept_lists(), {M, T}),
    "bench_tests.entered_tags": (lambda one: bench_tests.entered_tags(), {M, T}),
    "bench_tests.swaps_of": (lambda one: bench_tests.swaps_of("TAG"), {M, T}),
    "bench_tests.taken_in": (lambda one: bench_tests.taken_in(), {M, T}),
    "bench_entered.newest": (lambda one: bench_entered.newest(), {M, T}),
    "bench_disputed.disputed": (lambda one: bench_disputed.disputed(), {M, T}),
    "bench_waiting.waiting": (lambda one: bench_waiting.waiting(), {M, T}),
    "bench_tests.gauges": (lambda one: bench_tests.gauges(), {M, T}),
    "answered.by_technician": (lambda one: answered.by_technician(), {M, T}),
    "remarks.of": (lambda one: remarks.of(one.other), {M, T}),
    "remarks.of own": (lambda one: remarks.of(one.own), {M, T, X}),
    "remarks.enter": (lambda one: remarks.enter(one.other, "steps", "x", "Chief", f"id {roles.person()}"), {M, T}),
    "remarks.take_back": (lambda one: remarks.take_back(one.other, "none", "Chief"), {M, T}),
    "figures_access.whole": (lambda one: figures_access.whole(), {M, T, W}),
    "figures_access.good_switch": (lambda one: figures_access.good_switch(ALL), {M, W}),
    "figures_access.good_switch_by": (lambda one: figures_access.good_switch_by(ALL, "branch"), {M, W}),
    "figures_access.callbacks": (lambda one: figures_access.callbacks(ALL), {M, W}),
    "figures_access.control": (lambda one: figures_access.control(ALL), {M, W}),
    "figures_access.seasons": (lambda one: figures_access.seasons(ALL), {M, T, W}),
    "figures_access.sites": (lambda one: figures_access.sites(ALL), {M, T, W}),
    "figures_access.safety_items": (lambda one: figures_access.safety_items(ALL), {M, W}),
    # Everybody's, because the comparison needs all; the own sheet shows of it the reader's row and the sum.
    "figures_access.technicians": (lambda one: figures_access.technicians(ALL), {M, T, X}),
    "figures_access.coaching": (lambda one: figures_access.coaching(), {M, T, X}),
    "figures_access.waste": (lambda one: figures_access.waste(ALL), {M, W}),
    "figures_access.bench_programme": (lambda one: figures_access.bench_programme(ALL), {M, W}),
    "figures_access.missing": (lambda one: figures_access.missing(ALL), {M, T}),
    "figures_access.coverage": (lambda one: figures_access.coverage(ALL), {M, T, W}),
    "figures_access.visits_behind": (lambda one: figures_access.visits_behind(ALL, "swaps"), {M, T, W}),
    "figures_access.visits_behind own": (
        lambda one: figures_access.visits_behind(ALL, "swaps", technician_id=one.own), {M, T, W, X},
    ),
    "figures_access.visits_behind other": (
        lambda one: figures_access.visits_behind(ALL, "swaps", technician_id=one.other), {M, T, W},
    ),
    "figures_access.count_behind": (lambda one: figures_access.count_behind(ALL, "swaps"), {M, T, W}),
    "figures_access.count_behind own": (
        lambda one: figures_access.count_behind(ALL, "swaps", technician_id=one.own), {M, T, W, X},
    ),
    "figures_access.count_behind other": (
        lambda one: figures_access.count_behind(ALL, "swaps", technician_id=one.other), {M, T, W},
    ),
    **{
        f"visit_sheet.{name}{ending}": (
            lambda one, name=name, whose=whose: getattr(visit_sheet, name)(getattr(one, whose)), who
        )
        for name in ("visit_of", "notes_of", "readings", "checks", "parts", "benches")
        for ending, whose, who in (("", "visit_of_other", {M, T, W}), (" own", "visit_of_own", {M, T, W, X}))
    },
}  # fmt: skip
# Public functions that touch the store and hand out no row of a visit, a person or a site.
NO_ROWS = {
    "own_visits.is_theirs": "yes or no, whose a visit is",
    "own_entry.own": "the file of entries; asks require_entry",
    "own_entry.waiting": "how many entries wait; asks may_enter",
    "scope_bar.show": "first and last day and the names of branches, on every page",
    "scope_bar.choices": "the same names, for the command line",
    "scope_bar.is_stale": "the last day",
    "scope_bar.freshness": "a line of counts; leaves out what the role may not see",
}
COMMANDS = ("bench_commands", "own_work_commands", "held_back_commands", "identity_commands")
MARKS = ("store_access.frame(", "store_access.row(", "store_access.reader(", "_part(", "_narrowed(", "_all(", "return _visits(",
         "return _count(", "own_entry.own(", "OwnWork(", "_health(")  # fmt: skip


class Given:
    own = other = visit_of_own = visit_of_other = claim = ""


@pytest.fixture(scope="module")
def given(fleet_home: Path, tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Given]:
    home = tmp_path_factory.mktemp("rights") / "home"
    shutil.copytree(fleet_home, home)
    one = Given()
    with pytest.MonkeyPatch.context() as patched, roles.whoever_has_the_files():
        patched.setenv("GOODPULL_HOME", str(home))
        swaps = store_access.frame(
            "SELECT technician_id, min(visit_id) AS visit_id FROM visit WHERE technician_id IS NOT NULL GROUP BY 1 "
            "ORDER BY count(*) DESC, 1 LIMIT 2"
        )
        one.own, one.other = swaps["technician_id"]
        one.visit_of_own, one.visit_of_other = swaps["visit_id"]
        one.claim = store_access.row("SELECT min(claim_id) AS one FROM warranty_claim")["one"]
    people = [f'[people."{EMAIL.format(role)}"]\nrole = "{role}"' for role in (M, T, W, X)]
    (home / "settings.toml").write_text("\n".join([*people, f'technician_id = "{one.own}"', ""]), "utf-8")
    return home, one


@pytest.mark.parametrize("reader", READERS)
def test_each_function_answers_those_who_may_and_nobody_else(
    reader: str | None, given: tuple[Path, Given], monkeypatch: pytest.MonkeyPatch
) -> None:
    home, one = given
    monkeypatch.setenv("GOODPULL_HOME", str(home))
    monkeypatch.setenv(sign_in.FLAG, "on")
    monkeypatch.setattr(sign_in, "email", lambda: EMAIL.format(reader) if reader else None)
    wrong = []
    for name, (ask, who) in TABLE.items():
        try:
            ask(one)
            may = True
        except roles.NotAllowed:
            may = False
        except GoodpullError:
            may = True  # Refused for another reason than the role: it was let in.
        if may != (reader in who):
            wrong.append((name, "answered" if may else "refused"))
    assert wrong == []


def test_every_function_that_reads_rows_stands_in_the_table() -> None:
    folder = Path(roles.__file__).parent
    found = set()
    for path in sorted([*folder.glob("*.py"), *folder.glob("printed/*.py")]):
        if path.stem in ("store_access", *COMMANDS):
            continue
        for part in ast.parse(path.read_text("utf-8")).body:
            if isinstance(part, ast.FunctionDef) and not part.name.startswith("_"):
                told = ast.unparse(part)
                # As a name of its own: not_narrowed( is none of them.
                if any(re.search(rf"(?<![A-Za-z]){re.escape(mark)}", told) for mark in MARKS):
                    found.add(f"{path.stem}.{part.name}")
    tested = {name.partition(" ")[0] for name in TABLE}
    assert found - tested - set(NO_ROWS) == set(), "reads rows, and no test asks for its right"
    assert set(NO_ROWS) <= found, "no longer reads anything; take it off the list"
