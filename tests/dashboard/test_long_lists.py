"""Lists that are cut say of how many, on the page and on paper; what is exported is not cut."""

from __future__ import annotations

import csv
import datetime as dt
import io
import re
from pathlib import Path

import pytest
from page_texts import assert_drawn, opened, said

from dashboard import code_names, figures_access, long_list, lookups, roles, visit_table, week_parts
from dashboard.printed import web_page
from dashboard.printed.week import week_pack
from models.figures.scope import Scope
from pipelines.loading import load

N_EVIDENCE, N_RETURNS, N_MATURING, N_SESSIONS, N_REASONS = 40, 35, 33, 45, 9
LAST = dt.date(2026, 3, 31)


def _day(days_before: int) -> str:
    return f"{LAST - dt.timedelta(days=days_before)}T10:00:00Z"


@pytest.fixture(scope="module")
def long_home(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A store with more visits in each weekly list than a list shows, 45 coaching sessions, 9 reasons for refusal."""
    home = tmp_path_factory.mktemp("long")
    visits = ["visit_id,site_id,technician_id,arrived_at,visit_kind,symptom,is_declared_complete"]
    lines, claims = ["visit_id,line_no,part_class,quantity"], ["claim_id,visit_id,outcome,refusal_reason,filed_on"]

    def attended(visit: str, site: str, days_before: int, n_switches: int) -> None:
        visits.append(f"{visit},{site},T{len(visits) % 3},{_day(days_before)},no_heat,draft_not_proven,yes")
        lines.extend(f"{visit},{number + 1},draft_switch,1" for number in range(n_switches))

    for number in range(N_EVIDENCE):
        # The first of them pulled two switches: still one visit to ask about.
        attended(f"E{number:02d}", f"SE{number}", 3, 1 + (number == 0))
    for number in range(N_RETURNS):
        attended(f"R{number:02d}", f"SR{number}", 20, 0)
        attended(f"B{number:02d}", f"SR{number}", 10, 0)
    for number in range(N_MATURING):
        attended(f"M{number:02d}", f"SM{number}", 27, 1)
        claims.append(f"C{number},M{number:02d},refused,reason {number % N_REASONS},2026-03-20")
    attended("Z", "SZ", 0, 0)
    people = ["technician_id,branch", "T0,north", "T1,south", "T2,south"]
    sessions = ["session_id,technician_id,held_on,coach_id"]
    sessions += [f"S{number:02d},T{number % 2},{LAST - dt.timedelta(days=number)},Kim" for number in range(N_SESSIONS)]
    files = {
        "technicians": people,
        "visits": visits,
        "part_lines": lines,
        "coaching_sessions": sessions,
        "warranty_claims": claims,
    }
    for name, rows in files.items():
        (home / f"{name}.csv").write_text("\n".join(rows) + "\n", "utf-8")
    load(home, [home / f"{name}.csv" for name in files])
    return home


def lines_of(made: bytes) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(made.decode("utf-8-sig"))))


pytestmark = pytest.mark.parametrize("served_home", ["long_home"], indirect=True)


def test_a_weekly_list_counts_all_and_gives_all(served_home: Path) -> None:
    with roles.whoever_has_the_files():
        for ask, n in (
            (lookups.missing_evidence, N_EVIDENCE),
            (lookups.quick_returns, N_RETURNS),
            (lookups.maturing, N_MATURING),
        ):
            assert (len(ask(Scope()).rows), ask(Scope()).n) == (lookups.ROWS, n)
            assert len(ask(Scope(), None).rows) == ask(Scope(), None).n == n
            assert ask(Scope(region="nowhere")).n == 0 and ask(Scope(region="nowhere")).rows.empty
        for one in week_parts.lists(Scope())[1:]:
            assert len(one.behind(None)) == one.n > lookups.ROWS and len(one.behind(3)) == 3


def test_the_week_says_how_many_there_are_on_the_page_and_on_paper(served_home: Path) -> None:
    test = opened("this_week")
    assert_drawn(test)
    text = said(test)
    step = f"Ask for the missing reading, cause or tag on {N_EVIDENCE} visits of the last 7 days"
    assert step in text
    for first, n in (("newest", N_EVIDENCE), ("newest", N_RETURNS), ("soonest", N_MATURING)):
        assert f"Shown are the {first} 6 of {n}." in text
    assert test.button(key="brief_evidence").label == f"Open these, and {N_EVIDENCE - 6} more"
    test.button(key="brief_evidence").click().run()
    assert_drawn(test)
    assert len(test.dataframe[0].value) == N_EVIDENCE
    page = web_page.web_page(week_pack(Scope(), code_names.naming(), None)).decode()
    paper = re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", page.replace("<wbr>", "")))
    assert step in paper
    for first, n in (("newest", N_EVIDENCE), ("newest", N_RETURNS), ("soonest", N_MATURING)):
        assert f"({n})" in paper and f"the {first} 8 of {n}, and {n - 8} more" in paper


def test_the_coaching_log_is_paged_and_its_file_holds_every_session(served_home: Path, files: dict) -> None:
    assert len(lookups.coaching_log()) == N_SESSIONS
    test = opened("coaching")
    assert_drawn(test)
    assert f"Lines 1 to 25 of {N_SESSIONS}, the newest first" in said(test)
    assert "31 Mar 2026" in said(test) and "16 Feb 2026" not in said(test)
    test.selectbox(key="part_coaching_log").set_value(25).run()
    assert_drawn(test)
    assert f"Lines 26 to {N_SESSIONS} of {N_SESSIONS}" in said(test) and "16 Feb 2026" in said(test)
    assert len(lines_of(files["export_coaching_log"]())) == N_SESSIONS


def test_every_reason_for_refusal_can_be_read(served_home: Path, files: dict) -> None:
    test = opened("parts_waste")
    assert_drawn(test)
    assert f"Lines 1 to 6 of {N_REASONS}, the most frequent first" in said(test) and "reason 8" not in said(test)
    test.selectbox(key="part_refusal_reasons").set_value(6).run()
    assert "reason 8" in said(test)
    assert len(lines_of(files["export_refusal_reasons"]())) == N_REASONS


def test_a_window_of_visits_says_of_how_many(served_home: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    assert visit_table._how_many(40, 40) == "40 visits"
    assert visit_table._how_many(500, 500) == "500 visits"
    assert visit_table._how_many(500, 1234).startswith("The first 500 of 1,234 visits; the export")
    assert visit_table._how_many(500, None, "newest").startswith("The newest 500 visits; the export")
    assert visit_table._how_many(500, 100_000).endswith("the export holds them all")
    assert visit_table._how_many(500, 100_001).endswith("the export holds up to 100,000")
    assert long_list.told(25, 25, 45) == "Lines 26 to 45 of 45."
    n_swaps = N_EVIDENCE + N_MATURING
    with roles.whoever_has_the_files():
        frame = figures_access.control(Scope())["no_root_cause"].weeks
    weeks = frame.dropna(subset=["share"]).sort_values("n")
    monkeypatch.setattr(visit_table, "ROWS_SHOWN", 5)
    test = opened("this_week")
    test.button(key="behind_without_cause").click().run()
    assert_drawn(test)
    assert f"The newest 5 of {n_swaps} visits; the export holds them all" in said(test)
    # A mark of a chart.
    test.selectbox(key="mark_of_control_no_root_cause").set_value(weeks["week_on"].iloc[-1].isoformat()).run()
    assert_drawn(test)
    assert f"The newest 5 of {weeks['n'].iloc[-1]} visits; the export holds them all" in said(test)
