"""A mapping is a version of its loads; an export of another shape stops the load."""

from __future__ import annotations

import pytest
from foreign_company import CALLS as TOML

from pipelines.loading import load
from pipelines.mapping.declared import MappingError
from pipelines.mapping.mapping_file import mapping_of, read_mapping
from pipelines.mapping.writing import toml_of, version_path
from pipelines.store import Store, StoreError

LINES = """
[[source]]
file = "lines*.csv"
[[source.table]]
table = "part_lines"
[source.table.columns]
visit_id = "Call"
line_no = "Line"
quantity = "Qty"
"""
HEADER = ["Call", "Site", "Tech", "In", "Kind"]
ROWS = [["1", "S1", "T1", "2025-01-05 08:00", "PM"], ["2", "S2", "T1", "2025-01-06 08:00", "tune up"]]


def test_the_same_file_under_the_same_mapping_is_known_and_under_another_is_read_again(desk):
    path = desk.write("calls.csv", HEADER, ROWS)
    first = desk.load(TOML, path).files[0]
    assert (first.n_accepted, first.n_held_back) == (1, 1)
    assert desk.load("# a remark changes nothing\n" + TOML, path).files[0].is_already_loaded
    wider = TOML.replace('"PM" = "maintenance"', '"PM" = "maintenance", "Tune Up" = "maintenance"')
    again = desk.load(wider, path).files[0]
    assert not again.is_already_loaded
    assert (again.n_accepted, again.n_duplicates, again.n_held_back) == (1, 1, 0)
    digests = {digest.rpartition("=")[2] for (digest,) in desk.query("SELECT file_digest FROM load")}
    assert digests == {mapping_of(TOML).digest, mapping_of(wider).digest}
    # Both versions are kept beside the loads they made.
    for toml in (TOML, wider):
        assert read_mapping(version_path(desk.home, mapping_of(toml))) == mapping_of(toml)


def test_a_spelling_with_a_sharp_s_is_translated_as_any_other(desk):
    toml = TOML.replace('"PM" = "maintenance"', '"Große Wartung" = "maintenance", "STÖRUNG" = "no_heat"')
    rows = [["1", "S1", "T1", "2025-01-05 08:00", "große  wartung"], ["2", "S1", "T1", "2025-01-06 08:00", "störung"]]
    (file,) = desk.load(toml, desk.write("calls.csv", HEADER, rows)).files
    assert (file.n_accepted, file.n_held_back) == (2, 0)
    assert desk.query("SELECT visit_kind FROM delivered.visits ORDER BY visit_id") == [("maintenance",), ("no_heat",)]


def test_keys_that_a_new_mapping_makes_no_more_leave_the_records_and_stay_in_the_history(desk):
    path = desk.write("calls.csv", HEADER, ROWS[:1])
    desk.load(TOML, path)
    other = desk.write("calls_2.csv", HEADER, [["7", "S7", "T1", "2025-01-05 08:00", "PM"]])
    desk.load(TOML, other)
    changed = TOML.replace('visit_id = "Call"', 'visit_id = { column = "Call", prefix = "C" }')
    (file,) = desk.load(changed, path).files
    assert "1 row that an earlier mapping made" in " ".join(file.messages)
    assert desk.query("SELECT visit_id FROM delivered.visits ORDER BY 1") == [("7",), ("C1",)]
    assert desk.query("SELECT visit_id, replaced_by_load_id FROM delivered_history.visits") == [("1", 3)]


@pytest.mark.parametrize(
    ("header", "said"),
    [
        (["Call", "Site", "Technician", "In", "Kind"], ["lacks: 'Tech' (perhaps 'Technician' now)", "not know: 'Technician'"]),
        ([*HEADER, "Truck"], ["does not know: 'Truck'"]),
        (["a", "b", "c", "d", "e"], ["lacks: 'Call', 'Site', 'Tech', 'In', 'Kind'"]),
    ],
)  # fmt: skip
def test_a_changed_shape_stops_the_whole_load_and_lists_what_each_side_lacks(desk, header, said):
    lines = desk.write("lines.csv", ["Call", "Line", "Qty"], [["1", "1", "1"]])
    row = [*ROWS[0], "truck 4"][: len(header)]
    report = desk.load(TOML + LINES, lines, desk.write("calls.csv", header, [row]))
    by_name = {file.file_name: file for file in report.files}
    assert "has changed shape since the mapping 'calls' was made" in by_name["calls.csv"].error
    for part in said:
        assert part in by_name["calls.csv"].error
    assert "does not fit the mapping or cannot be read (see there)" in by_name["lines.csv"].error
    assert not report.is_changed and report.generation is None
    assert not list(desk.home.glob("mappings/*"))


def test_a_version_is_kept_by_the_load_it_made_and_by_no_other(desk, monkeypatch):
    path = desk.write("calls.csv", HEADER, ROWS)
    kept = version_path(desk.home, mapping_of(TOML))
    with monkeypatch.context() as broken:
        broken.setattr(Store, "_publish", lambda *_: (_ for _ in ()).throw(StoreError("The disk is full.")))
        with pytest.raises(StoreError, match="disk is full"):
            desk.load(TOML, path)
    assert not kept.exists()
    assert not desk.load(TOML, desk.write("other.csv", HEADER, ROWS)).is_changed and not kept.exists()
    desk.load(TOML, path)
    assert kept.exists()
    with monkeypatch.context() as broken:
        broken.setattr(Store, "_publish", lambda *_: (_ for _ in ()).throw(StoreError("The disk is full.")))
        with pytest.raises(StoreError):
            desk.load(TOML, desk.write("calls_2.csv", HEADER, [["9", *ROWS[0][1:]]]))
    assert kept.exists()


def test_order_and_case_of_columns_are_no_change_of_shape(desk):
    (file,) = desk.load(TOML, desk.write("calls.csv", ["KIND", "in", " Tech", "SITE", "call"], [ROWS[0][::-1]])).files
    assert (file.error, file.n_accepted) == (None, 1)


def test_a_file_no_source_reads_is_passed_over_by_name(desk):
    path = desk.write("other.csv", HEADER, ROWS)
    report = desk.load(TOML, path)
    told = "no source of the mapping 'calls' reads it; it reads calls*.csv."
    assert told in str(report.files[0].error) and 'such as file = "calls*.csv"' in str(report.files[0].error)
    assert not report.is_changed
    # Among others in a folder it may belong to another mapping.
    folder = desk.load(TOML, path.parent)
    assert [file.error for file in folder.files] == [None] and told in folder.files[0].messages[0]


def test_a_proposal_that_nobody_confirmed_is_not_loaded_with(desk):
    path = desk.write("calls.csv", HEADER, ROWS)
    mapping = mapping_of(TOML.replace("confirmed = true", "confirmed = false"))
    with pytest.raises(MappingError, match="not confirmed"):
        load(desk.home, [path], mapping=mapping)
    assert load(desk.home, [path], mapping=mapping, is_dry_run=True).files[0].n_accepted == 1


def test_a_mapping_written_reads_back_as_itself():
    mapping = mapping_of(TOML + LINES)
    assert mapping_of(toml_of(mapping)) == mapping
    assert mapping_of(toml_of(mapping)).digest == mapping.digest


def test_rows_known_by_their_number_never_replace_those_of_another_file(desk):
    toml = (
        'name = "calls"\nconfirmed = true\n[[source]]\nfile = "calls*.csv"\n[[source.table]]\ntable = "visits"\n'
        '[source.table.columns]\nvisit_id = { row_number = true, prefix = "row " }\nsite_id = "Site"\ntechnician_id = "Tech"\n'
        'arrived_at = "Day"\nvisit_kind = { value = "no_heat" }\n'
    )
    header = ["Site", "Tech", "Day"]
    january = desk.write("calls_2025_01.csv", header, [[f"S{n}", "T1", f"2025-01-{n:02}"] for n in range(1, 6)])
    february = desk.write("calls_2025_02.csv", header, [[f"S{n}", "T1", f"2025-02-{n:02}"] for n in range(1, 4)])
    desk.load(toml, january)
    (file,) = desk.load(toml, february).files
    assert (file.n_accepted, file.n_revised) == (3, 0)
    assert desk.query("SELECT count(*), count(DISTINCT visit_id) FROM delivered.visits") == [(8, 8)]
    assert desk.query("SELECT min(visit_id) FROM delivered.visits") == [("row calls_2025_01.csv 1",)]
    assert any("a later file of the same name replaces these rows" in said for said in file.messages)
    # The same file with one row more: its rows are known again.
    desk.write("calls_2025_02.csv", header, [[f"S{n}", "T1", f"2025-02-{n:02}"] for n in range(1, 5)])
    desk.load(toml, february)
    assert desk.query("SELECT count(*) FROM delivered.visits") == [(9,)]


def test_a_column_that_stands_twice_is_told_and_the_first_is_read(desk):
    header = ["Call", "Site", "Tech", "In", "Kind", "Site"]
    toml = TOML.replace("columns = ", "#columns = ")
    (file,) = desk.load(toml, desk.write("calls.csv", header, [[*ROWS[0], "S9"]])).files
    assert any("the file has 2 columns 'Site'; the first is read." in said for said in file.messages), file
    assert desk.query("SELECT site_id FROM delivered.visits") == [("S1",)]


def test_what_was_never_in_the_file_is_no_change_of_shape(desk):
    toml = TOML.replace("columns = ", "#columns = ").replace('"Site"', '"Place"')
    (file,) = desk.load(toml, desk.write("calls.csv", HEADER, ROWS)).files
    assert file.error.startswith("does not fit the mapping 'calls'; nothing was loaded from it."), file.error


def test_a_file_named_as_a_workbook_that_is_none_is_said_to_be_none(desk):
    path = desk.folder / "calls.xlsx"
    path.write_bytes(bytes(range(256)) * 40)
    (file,) = load(desk.home, [path]).files
    assert "is named as a workbook and is none" in file.error
