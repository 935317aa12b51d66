"""Dirt that only a person who knows the export can put right, by a line of the mapping."""

from __future__ import annotations

import duckdb
import pytest
from foreign_company import CALLS
from hypothesis import given, settings
from hypothesis import strategies as st

from pipelines.mapping import canonical
from pipelines.mapping.declared import folded_text

FOLDING = duckdb.connect()

READINGS = """
name = "gauge sheet"
confirmed = true
[[source]]
file = "*.csv"
[[source.table]]
table = "readings"
[source.table.columns]
visit_id = "Call"
reading_no = { row_number = true }
quantity = { value = "draft_at_switch" }
value = { column = "Draft", blank = ["0", "0.0"], default = "" }
unit = { column = "Branch", codes = { "North" = "Pa", "South" = "in. w.c." } }
"""


def test_zero_that_means_blank_is_no_reading_and_units_may_follow_the_branch(desk):
    toml = READINGS.replace(
        '[source.table.columns]', 'rows = [{ column = "Draft", is_not = ["0", "0.0"] }]\n[source.table.columns]'
    )  # fmt: skip
    rows = [["1", "180", "North"], ["1", "0", "North"], ["2", "0.72", "South"], ["3", "0.0", "South"]]
    (file,) = desk.load(toml, desk.write("gauge.csv", ["Call", "Draft", "Branch"], rows)).files
    assert file.n_accepted == 2 and "made from 4 rows" in file.messages[0]
    assert desk.query("SELECT visit_id, round(value_pa, 1) FROM delivered.readings ORDER BY 1") == [
        ("1", 180.0), ("2", round(0.72 * 249.08891, 1))
    ]  # fmt: skip


def test_merged_sites_and_an_exchanged_appliance_keep_one_name(desk):
    toml = CALLS.replace('site_id = "Site"', 'site_id = "Site"\nappliance_id = "Kind"') + (
        '[aliases.sites]\n"12 Mill Rd" = "S1"\n"S1-OLD" = "12 mill rd"\n[aliases.appliances]\n"pm" = "A1"\n'
    )
    rows = [
        ["1", "S1-old", "T", "2025-01-01", "PM"],
        ["2", "12  Mill Rd ", "T", "2025-01-02", "PM"],
        ["3", "S1", "T", "2025-01-03", "PM"],
    ]
    (file,) = desk.load(toml, desk.write("calls.csv", ["Call", "Site", "Tech", "In", "Kind"], rows)).files
    assert desk.query("SELECT DISTINCT site_id, appliance_id FROM delivered.visits") == [("S1", "A1")]
    assert file.messages[:2] == (
        "2 cells of site_id were renamed by the aliases of the mapping.",
        "3 cells of appliance_id were renamed by the aliases of the mapping.",
    )


def test_parts_renamed_by_aliases_are_counted(desk):
    toml = CALLS.replace('table = "visits"', 'table = "part_lines"').partition("[source.table.columns]")[0] + (
        '[source.table.columns]\nvisit_id = "Call"\nline_no = { row_number = true }\npart_number = "Site"\n'
        'quantity = { value = "1" }\n[aliases.parts]\n"PS-1" = "PS-1B"\n"PS-1B" = "PS-2"\n'
    )
    rows = [[str(n), part, "T", "", ""] for n, part in enumerate(["ps-1", "PS-1B", "PS-2", "", "X"])]
    (file,) = desk.load(toml, desk.write("calls.csv", ["Call", "Site", "Tech", "In", "Kind"], rows)).files
    assert desk.query("SELECT part_number, count(*) FROM delivered.part_lines GROUP BY 1 ORDER BY 1") == [
        ("PS-2", 3), ("X", 1), (None, 1)
    ]  # fmt: skip
    assert file.messages == ("2 cells of part_number were renamed by the aliases of the mapping.",)


def test_zero_read_as_blank_is_counted_whether_for_one_column_or_all(desk):
    """`{0}` among the words, which no sentence may trip over."""
    toml = CALLS + 'cause_code = { column = "Kind", blank = ["{0}", "0"], codes = { "PM" = "fan_worn" } }\n'
    rows = [["1", "S1", "T", "2025-01-01", "PM"], ["2", "0", "T", "2025-01-02", "PM"], ["3", "S1", "T", "", "0"]]
    header = ["Call", "Site", "Tech", "In", "Kind"]
    (file,) = desk.load('blank = ["0", "-"]\n' + toml, desk.write("calls.csv", header, rows)).files
    assert "1 cell of site_id says '0', which means blank here." in file.messages
    assert "1 cell of cause_code says '{0}' or '0', which means blank here." in file.messages
    assert not [one for one in file.messages if one.startswith("0 ")]
    # What is required is held back.
    assert (file.n_accepted, file.n_held_back) == (1, 2)


def test_test_rows_are_left_out_by_a_condition_and_counted(desk):
    toml = CALLS.replace(
        'table = "visits"', 'table = "visits"\nrows = [{ column = "Tech", is_not = ["TEST", "dummy"] }]'
    )
    rows = [
        ["1", "S1", "T", "2025-01-01", "PM"],
        ["2", "S1", "test ", "2025-01-01", "PM"],
        ["3", "S1", "", "2025-01-02", "PM"],
    ]
    (file,) = desk.load(toml, desk.write("calls.csv", ["Call", "Site", "Tech", "In", "Kind"], rows)).files
    # A blank technician is no test entry; it is held back.
    assert (file.n_rows, file.n_accepted, file.n_held_back) == (2, 1, 1)
    assert "2 rows of visits made from 3 rows" in file.messages[0]


def test_two_technicians_in_one_cell_become_lead_and_crew(desk):
    toml = CALLS.replace('technician_id = "Tech"', 'technician_id = { column = "Tech", split = "/", part = 1 }') + (
        '[[source.table]]\ntable = "visit_crew"\nrows = [{ column = "Tech", filled = true }]\n[source.table.columns]\n'
        'visit_id = "Call"\ntechnician_id = { column = "Tech", split = "/", part = -1 }\nis_lead = { value = "no" }\n'
        '[aliases.technicians]\n"Ortiz J" = "T7"\n"J. Ortiz" = "T7"\n'
    )
    rows = [["1", "S1", "J. Ortiz / Lee", "2025-01-01", "PM"]]
    desk.load(toml, desk.write("calls.csv", ["Call", "Site", "Tech", "In", "Kind"], rows))
    assert desk.query("SELECT technician_id FROM delivered.visits") == [("T7",)]
    assert desk.query("SELECT technician_id, is_lead FROM delivered.visit_crew") == [("Lee", False)]


def test_overlapping_exports_count_each_row_once_and_the_newer_version_holds(desk):
    header = ["Call", "Site", "Tech", "In", "Kind"]
    first = [[str(n), "S1", "T", "2025-01-01", "PM"] for n in range(1, 5)]
    second = [
        ["3", "S1", "T", "2025-01-01", "PM"],
        ["4", "S2", "T", "2025-01-01", "PM"],
        ["5", "S1", "T", "2025-01-01", "PM"],
    ]
    desk.load(CALLS, desk.write("calls_1.csv", header, first))
    (file,) = desk.load(CALLS, desk.write("calls_2.csv", header, second)).files
    assert (file.n_accepted, file.n_revised, file.n_duplicates) == (2, 1, 1)
    assert desk.query("SELECT count(*), max(site_id) FROM delivered.visits") == [(5, "S2")]


def test_a_site_joined_of_street_and_flat_may_have_no_flat(desk):
    toml = CALLS.replace('site_id = "Site"', 'site_id = { columns = ["Site", "In"], join = " " }').replace(
        'arrived_at = "In"', 'arrived_at = { value = "2025-01-01" }'
    )
    rows = [["1", "Mill Rd 1", "T", "3b", "PM"], ["2", "Mill Rd 2", "T", "", "PM"]]
    (file,) = desk.load(toml, desk.write("calls.csv", ["Call", "Site", "Tech", "In", "Kind"], rows)).files
    assert desk.query("SELECT site_id FROM delivered.visits ORDER BY 1") == [("Mill Rd 1 3b",), ("Mill Rd 2",)]
    assert file.messages == ()


def test_a_key_joined_of_two_columns_needs_both(desk):
    """Else every row without a number would be one and the same visit, each taking the place of the one before."""
    toml = CALLS.replace('visit_id = "Call"', 'visit_id = { columns = ["Kind", "Call"], join = "-" }').replace(
        'technician_id = "Tech"', 'technician_id = { columns = ["Tech", "In"], join = ", " }'
    )
    rows = [
        ["1", "S1", "T", "2025-01-01", "PM"], ["", "S1", "", "2025-01-02", "PM"], ["", "S1", "T", "2025-01-03", "PM"],
        ["", "S1", "T", "2025-01-04", ""],
    ]  # fmt: skip
    (file,) = desk.load(toml, desk.write("calls.csv", ["Call", "Site", "Tech", "In", "Kind"], rows)).files
    assert desk.query("SELECT visit_id FROM delivered.visits") == [("PM-1",)]
    assert (file.n_accepted, file.n_held_back) == (1, 3) and file.reasons["visit_id: missing_required"] == 3
    assert "technician_id: missing_required" not in file.reasons, "half a person's name is a spelling"
    assert [
        one for one in file.messages if one.startswith("2 cells of visit_id stay blank, because one of the columns")
    ]


@pytest.mark.parametrize("space", ["\u00a0", "\u202f", "\u2007", "\u2009", "\u3000", "\t", "\x0b", " \u00a0 "])
def test_any_space_within_a_spelling_is_a_space(desk, space):
    """Workbooks and web pages put no-break spaces where people see spaces."""
    toml = (
        CALLS.replace('"PM" = "maintenance"', '"Tune Up" = "maintenance"')
        + '\n[aliases.technicians]\n"J. Ortiz" = "T1"\n'
    )
    rows = [["1", "S1", f"J.{space}Ortiz", "2025-01-05 08:00", f"tune{space}UP"]]
    (file,) = desk.load(toml, desk.write("calls.csv", ["Call", "Site", "Tech", "In", "Kind"], rows)).files
    assert file.n_accepted == 1, file
    assert desk.query("SELECT visit_kind, technician_id FROM delivered.visits") == [("maintenance", "T1")]


# Where the two write a letter's small form differently is not asked here; what is compared is spaces.
@settings(deadline=None)
@given(st.text(st.characters(codec="utf-8", exclude_categories=["Cs", "Lu", "Lt", "Ll", "Nl", "So"]), max_size=12))
def test_the_page_and_the_load_fold_a_spelling_alike(cell):
    (folded,) = FOLDING.execute(f"SELECT {canonical._folded('x')} FROM (SELECT ?::VARCHAR AS x)", [cell]).fetchone()
    assert folded == folded_text(cell)
