"""Packs narrowed on the command line: the scope of the pages, stated on the paper, and refused in words."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import pytest
from typer.testing import CliRunner

from dashboard import code_names, commands, roles, scope_bar, store_access
from dashboard.printed import packs
from dashboard.report_scope import ScopeError, in_file_name, scope_of
from models.figures.scope import Scope

pytestmark = pytest.mark.parametrize("served_home", ["fleet_home"], indirect=True)


def a_branch() -> str:
    return scope_bar.choices("branch")[0]


def test_the_scope_is_that_of_the_pages(served_home: Path) -> None:
    branch, region, kind = (scope_bar.choices(name)[0] for name in ("branch", "region", "appliance"))
    found = scope_of(branch.upper(), f" {region} ", kind.replace("_", " "), "2025-01-01", "2025-03-31")
    assert found == Scope(dt.date(2025, 1, 1), dt.date(2025, 3, 31), branch, region, kind)
    assert scope_of(None, None, None, None, None) == Scope()


def test_what_is_not_on_record_is_refused_with_what_is(served_home: Path) -> None:
    branch = a_branch()
    with pytest.raises(ScopeError) as told:
        scope_of(branch[:-1] + "x", None, None, None, None)
    assert str(told.value).startswith("--branch: got ") and f"Did you mean {branch!r}?" in str(told.value)
    for one in scope_bar.choices("branch"):
        assert one in str(told.value)
    with pytest.raises(ScopeError, match=r"--kind: got 'toaster'; must be one of .*furnace") as told:
        scope_of(None, None, "toaster", None, None)
    assert "Did you mean" not in str(told.value)
    for days, said in ((("31.1.2025", None), "--from: got"), ((None, "2025-02-30"), "--until: got"),
                       (("2025-02-01", "2025-01-01"), "lies after")):  # fmt: skip
        with pytest.raises(ScopeError, match=said):
            scope_of(None, None, None, *days)


def test_the_pack_states_its_scope(served_home: Path) -> None:
    branch = a_branch()
    scope = scope_of(branch, None, None, "2024-01-01", None)
    with roles.whoever_has_the_files():
        one = store_access.row(
            "SELECT technician_id AS one FROM draft_fault WHERE branch = ? AND arrived_on >= DATE '2024-01-01' "
            "GROUP BY 1 ORDER BY count(*) DESC, 1", [branch],
        )["one"]  # fmt: skip
        for kind in ("week", "season", "coaching"):
            about = packs.document(kind, scope, code_names.naming(False), one).about
            assert f"from 1 Jan 2024, branch {branch}".casefold() in about.casefold(), kind
            assert "whole company" not in about
    assert scope_bar.in_words(Scope(end_on=dt.date(2024, 2, 1))) == "until 1 Feb 2024"
    assert scope_bar.in_words(Scope(dt.date(2024, 1, 1), dt.date(2024, 2, 1))) == "from 1 Jan 2024 to 1 Feb 2024"


def test_two_scopes_never_share_a_file_name(served_home: Path) -> None:
    assert in_file_name(Scope()) == ""
    assert in_file_name(Scope(branch="Ashfell Top")).startswith("_branch_ashfell_top_")
    names = ("Örn", "Ärn", "a/b", "a b", "a_b", "A b", "a, b", "../x", "x" * 200 + "1", "x" * 200 + "2")
    parts = [in_file_name(Scope(branch=branch)) for branch in names]
    assert len(set(parts)) == len(names) and all(part.replace("_", "").isalnum() for part in parts)
    assert max(map(len, parts)) < 100


def test_the_command_narrows_and_refuses(served_home: Path, tmp_path: Path) -> None:
    def run(*more: str) -> object:
        asked = ["report", "week", "--home", str(served_home), "--to", str(tmp_path), "--paper", "a4", *more]
        return CliRunner().invoke(commands.app, asked)

    refused = run("--branch", "no such branch")
    assert isinstance(refused.exception, ScopeError) and not list(tmp_path.iterdir())
    claim = CliRunner().invoke(
        commands.app, ["report", "warranty", "--claim", "C", "--kind", "x", "--home", str(served_home)]
    )
    assert claim.exit_code == 2
    done = run("--branch", a_branch(), "--kind", scope_bar.choices("appliance")[0])
    assert done.exit_code == 0, done.output
    (page,) = tmp_path.glob("*.html")
    assert page.stem.startswith("week_") and "_branch_" in page.stem
    assert f"ranch {a_branch()}" in page.read_text("utf-8").replace("<wbr>", "")
