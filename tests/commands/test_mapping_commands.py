"""`goodpull map` and `goodpull load --map / --new`, as typed."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest
from typer.testing import CliRunner

from dashboard.commands import app
from pipelines import loading
from pipelines.mapping.mapping_file import read_mapping
from pipelines.store import Store

HEADER = ["WO #", "Location", "Tech", "Arrival Time", "Call Type", "Tech Notes"]
ROWS = [
    ["W1", "L1", "Ortiz", "2025-01-05 08:00", "No Heat", "ok"],
    ["W2", "L2", "Lee", "2025-01-06 08:00", "Mystery", ""],
]


@pytest.fixture(autouse=True)
def without_facts(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(loading.build, "build", lambda con, settings, *_: loading.build.write_given(con, settings))


@pytest.fixture
def export(tmp_path: Path) -> Path:
    folder = tmp_path / "export"
    folder.mkdir()
    with (folder / "jobs.csv").open("w", newline="") as file:
        csv.writer(file).writerows([HEADER, *ROWS])
    return folder


def run(*words) -> tuple[int, str]:
    result = CliRunner().invoke(app, [str(word) for word in words], env={"COLUMNS": "200"})
    return result.exit_code, result.output


def visits(home: Path) -> list[tuple]:
    con = Store(home).open_reader()
    try:
        return con.execute("SELECT visit_id FROM delivered.visits ORDER BY 1").fetchall()
    finally:
        con.close()


def test_propose_look_confirm_load(export, tmp_path):
    home, toml = tmp_path / "home", export / "jobs.mapping.toml"
    code, said = run("map", export / "jobs.csv", "--home", home)
    assert code == 0 and toml.exists() and not home.exists()
    # Rows in, rows out, what is held back and why, the share understood.
    for part in (
        "rows in",
        "rows out",
        "Mystery",
        "visit_kind 50.0%",
        "2 rows = 1 accepted + 1 held back",
        "--confirm",
    ):
        assert part in said, part
    code, said = run("load", export / "jobs.csv", "--map", toml, "--home", home)
    assert (code, "not confirmed" in str(said)) != (0, False)
    assert not Store(home).current()
    toml.write_text(toml.read_text().replace('codes = {', 'codes = { "mystery" = "other",') if "codes" in toml.read_text()
                    else toml.read_text().replace('visit_kind = "Call Type"',
                                                  'visit_kind = { column = "Call Type", codes = { "mystery" = "other" } }'))  # fmt: skip
    code, said = run("map", export / "jobs.csv", "--map", toml, "--confirm", "--home", home)
    assert code == 0 and "is confirmed" in said and read_mapping(toml).is_confirmed
    assert run("load", export / "jobs.csv", "--map", toml, "--home", home)[0] == 0
    assert visits(home) == [("W1",), ("W2",)]


def test_a_proposed_mapping_reads_next_months_file(export, tmp_path):
    home, body = tmp_path / "home", (export / "jobs.csv").read_text()
    first, later = export / "jobs_2025_01.csv", export / "jobs_2025_02.csv"
    first.write_text(body)
    later.write_text(body.replace("W1", "W3").replace("Mystery", "no_heat"))
    toml = export / "jobs_2025_01.mapping.toml"
    assert run("map", first, "--home", home)[0] == 0
    assert [source.file for source in read_mapping(toml).sources] == ["jobs_*.csv"]
    assert run("map", first, "--map", toml, "--confirm", "--home", home)[0] == 0
    assert run("load", later, "--map", toml, "--home", home)[0] == 0
    assert visits(home) == [("W2",), ("W3",)]


def test_a_proposal_never_overwrites_a_mapping(export, tmp_path):
    (export / "jobs.mapping.toml").write_text("# mine\n")
    code, said = run("map", export / "jobs.csv", "--home", tmp_path / "home")
    assert code == 1 and "is there already" in said
    assert (export / "jobs.mapping.toml").read_text() == "# mine\n"


def test_load_new_takes_only_files_not_in_the_ledger(tmp_path):
    folder, home = tmp_path / "watched", tmp_path / "home"
    folder.mkdir()
    text = "visit_id,site_id,technician_id,arrived_at,visit_kind\n{},S1,T1,2025-01-05,no_heat\n"
    (folder / "visits_1.csv").write_text(text.format("V1"))
    assert run("load", "--new", folder, "--home", home)[0] == 0
    first = Store(home).current()
    code, said = run("load", "--new", folder, "--home", home)
    assert code == 0 and "No new file" in said and Store(home).current() == first
    (folder / "visits_2.csv").write_text(text.format("V2"))
    code, said = run("load", "--new", folder, "--home", home)
    assert code == 0 and "visits_2.csv" in said and "visits_1.csv" not in said
    assert visits(home) == [("V1",), ("V2",)]


def test_a_drifted_export_ends_with_1_and_the_report(export, tmp_path):
    home, toml = tmp_path / "home", export / "jobs.mapping.toml"
    run("map", export / "jobs.csv", "--home", home)
    run("map", export / "jobs.csv", "--map", toml, "--confirm", "--home", home)
    body = (export / "jobs.csv").read_text().replace("Tech,", "Technician,", 1)
    (export / "jobs.csv").write_text(body)
    code, said = run("load", export / "jobs.csv", "--map", toml, "--home", home)
    assert code == 1 and "lacks: 'Tech' (perhaps 'Technician' now)" in " ".join(said.split())
    assert Store(home).current() is None


def test_load_without_anything_to_load_says_what_to_name(tmp_path):
    code, said = run("load", "--home", tmp_path / "home")
    assert code == 1 and "Name the files" in said


def test_loads_are_listed_with_the_mapping_that_read_them(export, tmp_path):
    home, toml = tmp_path / "home", export / "jobs.mapping.toml"
    code, said = run("loads", "--home", home)
    assert code == 1 and "no records" in said.lower()
    (tmp_path / "visits.csv").write_text(
        "visit_id,site_id,technician_id,arrived_at,visit_kind\nV1,S1,T1,2025-01-05,no_heat\n"
    )
    assert run("load", tmp_path / "visits.csv", "--home", home)[0] == 0
    code, said = run("loads", "--home", home)
    assert code == 0 and "visits.csv" in said and "version" not in said
    run("map", export / "jobs.csv", "--home", home)
    run("map", export / "jobs.csv", "--map", toml, "--confirm", "--home", home)
    assert run("load", export / "jobs.csv", "--map", toml, "--home", home)[0] == 0
    code, said = run("loads", "--home", home)
    mapping = read_mapping(toml)
    assert code == 0 and said.index("jobs.csv") < said.index("visits.csv")
    assert f"{mapping.name}, version {mapping.digest}" in said and str(home / "mappings") in said
    code, said = run("loads", "--limit", 1, "--home", home)
    assert code == 0 and "visits.csv" not in said and "The newest 1 of 2" in said


def test_a_load_is_told_whole_in_a_narrow_window(tmp_path):
    file = "visits_of_the_northern_branch_as_exported_on_2026-11-02_from_the_old_system_part_1.csv"
    (tmp_path / file).write_text(
        "visit_id,site_id,technician_id,arrived_at,visit_kind\nV1,S1,T1,2025-01-05,no_heat\nV2,S1,T1,5014-01-05,no_heat\n"
    )
    assert run("load", tmp_path / file, "--home", tmp_path / "home")[0] == 0
    result = CliRunner().invoke(app, ["loads", "--home", str(tmp_path / "home")], env={"COLUMNS": "60"})
    assert f"{file} → visits\n" in result.output
    assert "2 rows = 1 accepted + 1 held back + 0 same; 0 revised" in result.output


def test_new_files_of_a_folder_are_loaded_through_a_mapping_once(export, tmp_path):
    """What a scheduled command does every night."""
    home, toml = tmp_path / "home", tmp_path / "jobs.mapping.toml"
    assert run("map", export / "jobs.csv", "--out", toml, "--home", home)[0] == 0
    toml.write_text(
        toml.read_text()
        .replace('file = "jobs.csv"', 'file = "jobs*.csv"')
        .replace("confirmed = false", "confirmed = true")
    )
    nightly = ("load", "--new", export, "--map", toml, "--home", home)
    assert run(*nightly)[0] == 0 and visits(home) == [("W1",)]
    generation = Store(home).current()
    code, said = run(*nightly)
    assert code == 0 and "No new file; nothing was changed." in said and Store(home).current() == generation
    with (export / "jobs_2.csv").open("w", newline="") as file:
        csv.writer(file).writerows([HEADER, ["W3", "L1", "Lee", "2025-01-07 08:00", "No Heat", ""]])
    (export / "other.csv").write_text("a,b\n1,2\n")
    code, said = run(*nightly)
    assert code == 0 and visits(home) == [("W1",), ("W3",)]
    assert "other.csv: passed over: no source of the mapping" in " ".join(said.split())
