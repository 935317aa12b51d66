"""Loading twice, exact duplicates, revised rows and their history."""

from __future__ import annotations

from pathlib import Path

from pipelines.store import Store


def names(desk):
    return Store(desk.home).current().name


def test_the_same_file_again_changes_nothing(desk, table, row):
    path = desk.write("visits.csv", table(row(1), row(2)))
    assert desk.load(path).is_changed
    before, bytes_before = names(desk), Store(desk.home).current().read_bytes()
    again = desk.load(path)
    assert not again.is_changed and again.files[0].is_already_loaded
    assert (names(desk), Store(desk.home).current().read_bytes()) == (before, bytes_before)
    copied = desk.write("visits-0002.csv", path.read_bytes())
    assert desk.load(copied).files[0].is_already_loaded, "known by its content, whatever its name"


def test_exact_duplicates_are_counted_within_a_file_and_against_the_store(desk, table, row):
    first = desk.load_text("visits-1.csv", table(row(1), row(2), row(1), row(1).replace("no_heat", "No Heat")))
    assert (first.n_rows, first.n_accepted, first.n_duplicates, first.n_revised) == (4, 2, 2, 0)
    second = desk.load_text("visits-2.csv", table(row(2), row(3)))
    assert (second.n_accepted, second.n_duplicates, second.n_revised) == (1, 1, 0)
    assert desk.rows("SELECT visit_id, load_id, row_no FROM delivered.visits ORDER BY 1") == [
        ("V1", 1, 1),
        ("V2", 1, 2),
        ("V3", 2, 2),
    ]
    assert desk.rows("SELECT count(*) FROM delivered_history.visits") == [(0,)]


def test_a_file_of_duplicates_alone_is_in_the_ledger(desk, table, row):
    desk.load_text("visits-1.csv", table(row(1), row(2)))
    file = desk.load_text("visits-2.csv", table(row(2), row(1)))
    assert (file.n_rows, file.n_accepted, file.n_duplicates) == (2, 0, 2)
    assert desk.rows('SELECT load_id, n_rows, n_accepted, n_duplicates FROM "load" ORDER BY 1') == [
        (1, 2, 2, 0),
        (2, 2, 0, 2),
    ]


def test_a_revised_row_replaces_the_older_which_goes_to_the_history(desk, table, row):
    desk.load_text("visits-1.csv", table(row(1, notes="first"), row(2)))
    file = desk.load_text("visits-2.csv", table(row(1, notes="second")))
    assert (file.n_accepted, file.n_revised, file.n_duplicates) == (1, 1, 0)
    assert desk.rows("SELECT notes, load_id FROM delivered.visits ORDER BY visit_id") == [("second", 2), ("fine", 1)]
    assert desk.rows("SELECT visit_id, notes, load_id, row_no, replaced_by_load_id FROM delivered_history.visits") == [
        ("V1", "first", 1, 1, 2)
    ]


def test_within_a_file_the_later_row_holds(desk, table, row):
    notes = ["a", "b", "a", "a", "c"]
    file = desk.load_text("visits.csv", table(*(row(1, notes=note) for note in notes)))
    assert (file.n_rows, file.n_accepted, file.n_revised, file.n_duplicates) == (5, 4, 3, 1)
    assert desk.rows("SELECT notes, row_no FROM delivered.visits") == [("c", 5)]
    assert desk.rows("SELECT notes FROM delivered_history.visits ORDER BY row_no") == [("a",), ("b",), ("a",)]


def test_the_last_row_of_a_file_holds_when_it_takes_a_change_back(desk, table, row):
    back_and_forth = table(row(1, notes="a"), row(1, notes="b"), row(1, notes="a"))
    file = desk.load_text("visits-1.csv", back_and_forth)
    assert (file.n_accepted, file.n_revised, file.n_duplicates) == (3, 2, 0)
    assert desk.rows("SELECT notes, row_no FROM delivered.visits") == [("a", 3)]
    file = desk.load_text("visits-2.csv", table(row(2), row(1, notes="a"), row(1, notes="b"), row(1, notes="a")))
    assert (file.n_accepted, file.n_revised) == (3, 2), "the first of them repeats what is in force, the others count"
    assert desk.rows("SELECT notes, load_id FROM delivered.visits WHERE visit_id = 'V1'") == [("a", 2)]


def test_a_file_read_again_under_other_settings_replaces_what_it_brought_in(desk):
    desk.home.mkdir()
    header = "visit_id,reading_no,quantity,value,unit"
    path = desk.write("readings.csv", f"{header}\nV1,1,draft_at_switch,0.8,\nV1,2,draft_at_switch,200,Pa\n")
    found = "SELECT round(value_pa, 3) FROM delivered.readings ORDER BY reading_no"
    assert "load the file again" in " ".join(desk.load(path).files[0].messages)
    assert desk.rows(found) == [(None,), (200.0,)]
    for unit, value in (("[in_i'H2O]", 199.271), ("mbar", 80.0), ("[in_i'H2O]", 199.271)):
        (desk.home / "settings.toml").write_text(f'default_pressure_unit = "{unit}"\n')
        report = desk.load(path)
        assert (report.files[0].n_accepted, report.files[0].n_duplicates) == (1, 1), report
        assert desk.rows(found)[0] == (value,)
        assert desk.load(path).files[0].is_already_loaded


def test_a_version_that_was_replaced_does_not_come_back(desk, table, row):
    desk.load_text("visits-1.csv", table(row(1, notes="first")))
    desk.load_text("visits-2.csv", table(row(1, notes="second")))
    file = desk.load_text("visits-3.csv", table(row(1, notes="first"), row(5)))
    assert (file.n_accepted, file.n_duplicates, file.n_revised) == (1, 1, 0)
    assert desk.rows("SELECT notes FROM delivered.visits WHERE visit_id = 'V1'") == [("second",)]
    assert "1 row equals an older version; the newer was kept." in file.messages


def test_the_later_of_two_files_of_one_load_holds(desk, table, row):
    one = desk.write("visits-0001.csv", table(row(1, notes="old"), row(2)))
    two = desk.write("visits-0002.csv", table(row(1, notes="new"), row(2)))
    first, second = desk.load(one, two).files
    assert (first.n_accepted, first.n_revised, first.n_duplicates) == (2, 0, 0)
    assert (second.n_accepted, second.n_revised, second.n_duplicates) == (1, 1, 1)
    assert desk.rows("SELECT notes FROM delivered.visits ORDER BY visit_id") == [("new",), ("fine",)]
    assert desk.rows("SELECT notes, load_id, replaced_by_load_id FROM delivered_history.visits") == [("old", 1, 2)]


def test_blank_cells_equal_blank_cells_and_nothing_else(desk):
    header = "site_id,region,elevation_m"
    desk.load_text("sites-1.csv", f"{header}\nS1,,\nS2,north,\n")
    file = desk.load_text("sites-2.csv", f"{header}\nS1,,\nS2,,\n")
    assert (file.n_duplicates, file.n_revised) == (1, 1)


def test_a_row_held_back_may_be_delivered_again(desk, table, row):
    desk.load_text("visits-1.csv", table(row(1, kind="nope")))
    file = desk.load_text("visits-2.csv", table(row(1)))
    assert (file.n_accepted, file.n_revised, file.n_duplicates) == (1, 0, 0)


def test_a_check_says_what_a_load_would_do_and_changes_nothing(desk, table, row):
    desk.load_text("visits-1.csv", table(row(1), row(2)))
    before = {path: path.read_bytes() for path in desk.home.rglob("*") if path.is_file()}
    new = desk.write("visits-2.csv", table(row(2), row(1, notes="new"), row(3), row(4, kind="nope")))
    told = desk.load(new, is_dry_run=True)
    assert not told.is_changed
    assert {path: path.read_bytes() for path in desk.home.rglob("*") if path.is_file()} == before
    done = desk.load(new)
    for said, became in zip(told.files, done.files, strict=True):
        assert (said.n_rows, said.n_accepted, said.n_revised, said.n_held_back, said.n_duplicates) == (
            became.n_rows,
            became.n_accepted,
            became.n_revised,
            became.n_held_back,
            became.n_duplicates,
        )
    assert (told.files[0].n_accepted, told.files[0].n_revised) == (2, 1)


def test_a_check_needs_no_store(desk, table, row):
    report = desk.load(desk.write("visits.csv", table(row(1))), is_dry_run=True)
    assert (report.generation, report.files[0].n_accepted) == (None, 1)
    assert not Path(desk.home).exists() or not list(desk.home.glob("store-*"))


def test_progress_is_told_and_never_runs_backwards(desk, table, row):
    seen = []
    desk.load(desk.write("visits.csv", table(row(1))), progress=lambda said, share: seen.append((said, share)))
    shares = [share for _, share in seen if share is not None]
    assert any("visits.csv" in said for said, _ in seen)
    assert shares == sorted(shares) and shares[0] >= 0 and shares[-1] <= 1


def test_changed_sites_are_those_of_the_rows_that_came_in(desk, without_facts, row):
    header = "visit_id,site_id,technician_id,arrived_at,visit_kind"
    rows = [f"V{i},S{i},T1,2024-01-05T08:00:00,no_heat" for i in range(40)]
    desk.load_text("visits-1.csv", "\n".join([header, *rows]))
    assert without_facts[-1] == (None, None), "the first load builds everything"
    desk.load_text("readings-1.csv", "visit_id,reading_no,quantity,value,unit\nV3,1,draft_at_switch,1,Pa\n")
    assert without_facts[-1][1] == {"S3"}
    moved = rows[5].replace("S5", "S6")
    desk.load_text("visits-2.csv", "\n".join([header, moved, rows[7]]))
    assert without_facts[-1][1] == {"S5", "S6"}, "the site it left and the site it came to; not that of a duplicate"
    desk.load_text("visits-3.csv", "\n".join([header, *(line.replace("no_heat", "other") for line in rows[:20])]))
    assert without_facts[-1][0] is None, "past a fifth of the sites everything is built"
