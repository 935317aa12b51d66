"""The store as a folder of Parquet: every relation, every row, described by an open standard."""

from __future__ import annotations

import json
from pathlib import Path

import duckdb
import frictionless
import pyarrow.parquet as pq
import pytest

from pipelines.errors import GoodpullError
from pipelines.loading import load
from pipelines.store import Store
from pipelines.store_export import export_store


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory) -> Path:
    home = tmp_path_factory.mktemp("home")
    (home / "visits.csv").write_text(
        "visit_id,site_id,technician_id,arrived_at,visit_kind,symptom,is_declared_complete,customer_name,notes\n"
        "V1,S1,T1,2026-01-05T10:00:00Z,no_heat,draft_not_proven,yes,Somebody Secret,=1+1\n"
        "V2,S1,T1,5014-09-15,no_heat,draft_not_proven,yes,Somebody Secret,\n",
        "utf-8",
    )
    (home / "part_lines.csv").write_text("visit_id,line_no,part_class,quantity\nV1,1,draft_switch,1\n", "utf-8")
    load(home, [home / "visits.csv", home / "part_lines.csv"])
    return home


def exported(home: Path, folder: Path) -> dict[str, int]:
    con = Store(home).open_reader()
    try:
        return export_store(con, folder)
    finally:
        con.close()


def test_every_row_is_there_and_another_tool_reads_it(home: Path, tmp_path: Path) -> None:
    counts = exported(home, tmp_path / "out")
    con = Store(home).open_reader()
    for path, n in counts.items():
        folder, name = Path(path).parts
        schema = "delivered" if folder == "records" else "main"
        relation = f'{schema}."{name.removesuffix(".parquet")}"'
        assert con.execute(f"SELECT count(*) FROM {relation}").fetchone() == (n,)
        assert pq.read_metadata(tmp_path / "out" / path).num_rows == n
    assert counts["records/visits.parquet"] == 1 and counts["facts/held_back.parquet"] >= 1
    read = duckdb.sql(f"SELECT notes FROM '{tmp_path / 'out' / 'records' / 'visits.parquet'}'").fetchall()
    assert read == [("=1+1",)]


def test_the_description_names_every_file_and_column(home: Path, tmp_path: Path) -> None:
    counts = exported(home, tmp_path / "out")
    told = json.loads((tmp_path / "out" / "datapackage.json").read_text("utf-8"))
    assert {one["path"] for one in told["resources"]} == set(counts)
    assert len({one["name"] for one in told["resources"]}) == len(counts)
    for one in told["resources"]:
        columns = pq.read_schema(tmp_path / "out" / one["path"]).names
        assert [field["name"] for field in one["schema"]["fields"]] == columns
        assert len(one["description"]) > 10
    visits = next(one for one in told["resources"] if one["path"] == "records/visits.parquet")
    assert all(field.get("description") for field in visits["schema"]["fields"])
    readings = next(one for one in told["resources"] if one["path"] == "records/readings.parquet")
    assert [one["unit"] for one in readings["schema"]["fields"] if one["name"] == "value_pa"] == ["Pa"]
    assert not list(frictionless.Package.metadata_validate(told))


def test_no_customer_leaves_with_it_and_the_same_store_gives_the_same_bytes(home: Path, tmp_path: Path) -> None:
    exported(home, tmp_path / "one")
    exported(home, tmp_path / "two")
    for path in sorted((tmp_path / "one").rglob("*.*")):
        content = path.read_bytes()
        assert content == (tmp_path / "two" / path.relative_to(tmp_path / "one")).read_bytes(), path.name
        if path.suffix == ".parquet":
            assert "Somebody Secret" not in str(pq.read_table(path).to_pylist()), path.name


def test_a_folder_with_content_is_left_alone(home: Path, tmp_path: Path) -> None:
    (tmp_path / "letter.txt").write_text("keep me")
    with pytest.raises(GoodpullError, match="not empty"):
        exported(home, tmp_path)
    assert [path.name for path in tmp_path.iterdir()] == ["letter.txt"]
