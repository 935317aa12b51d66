"""A mapping that cannot be right is refused in words, with the place."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from foreign_company import CALLS as TOML

from pipelines.mapping.declared import MappingError
from pipelines.mapping.mapping_file import mapping_of, read_mapping


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('site_id = "Site"', 'site = "Site"', "site is no column of visits"),
        ('site_id = "Site"\n', "", "does not say where site_id comes from"),
        ('site_id = "Site"', 'site_id = "Site"\nsite_id = "Kind"', "A key stands twice"),
        ('"PM" = "maintenance"', '"PM" = "maintenence"', "must be one of no_heat"),
        ('"PM" = "maintenance"', '"PM" = "maintenance", "pm " = "other"', "are the same spelling"),
        ('"PM" = "maintenance"', '"PM" = "maintenance", "PM" = "other"', "not valid TOML"),
        ('"visits"', '"visit"', "must be one of sites"),
        ('visit_id = "Call"', 'visit_id = { columns = ["Call"], value = "1" }', "exactly one of"),
        ('visit_id = "Call"', 'visit_id = { column = "Call", pattern = "(V" }', "no regular expression"),
        ('visit_id = "Call"', 'visit_id = { column = "Call", pattern = "(?=V)(1)" }', "no regular expression"),
        ('visit_id = "Call"', 'visit_id = { column = "Call", pattern = "V1" }', "has 0 groups"),
        ('visit_id = "Call"', 'visit_id = { column = "Call", format = "dd.mm" }', "is no format"),
        ('visit_id = "Call"', 'visit_id = { colum = "Call" }', "'colum' is not known here"),
        ('name = "calls"', 'time_zone = "Mars/Base"', "America/Chicago"),
        ('name = "calls"', 'decimal_mark = ";"', "decimal_mark is ';'"),
        ('name = "calls"', 'default_pressure_unit = "furlong"', "default_pressure_unit"),
        ('file = "calls*.csv"', 'query = "SELECT 1"', "a query needs a name"),
        ('file = "calls*.csv"', 'name = "v"\nquery = "SELECT 1"', "no [database]"),
    ],
)  # fmt: skip
def test_what_is_wrong_is_told(old, new, said):
    assert old in TOML
    with pytest.raises(MappingError, match=said.replace("[", r"\[").replace("(", r"\(")):
        mapping_of(TOML.replace(old, new, 1))


def test_a_cycle_of_aliases_is_refused_and_a_chain_is_followed():
    cycle = '[aliases.parts]\n"A" = "B"\n"b" = "C"\n"C" = "a"\n'
    with pytest.raises(MappingError, match="goes round in a circle: a → b → c → a"):
        mapping_of(TOML + cycle)
    mapping = mapping_of(TOML + '[aliases.parts]\n"A" = "B"\n"b" = "C"\n')
    assert dict(mapping.part_aliases) == {"a": "C", "b": "C"}


@pytest.mark.parametrize(
    "line", ["host=db password=hush", "postgresql://me:hush@db/fleet", "host=db passfile=x PassWord = hush"]
)
def test_a_password_in_a_mapping_is_refused_and_not_repeated(line):
    with pytest.raises(MappingError, match="PGPASSWORD") as refused:
        mapping_of(TOML + f'[database]\nconnection = "{line}"\n')
    assert "hush" not in str(refused.value)


def test_a_file_that_is_not_there_or_no_text_is_told_with_its_name(tmp_path):
    with pytest.raises(MappingError, match="there is no such mapping"):
        read_mapping(tmp_path / "none.toml")
    (tmp_path / "bytes.toml").write_bytes(b"\xff\xfe\x00")
    with pytest.raises(MappingError, match="bytes.toml: cannot be read"):
        read_mapping(tmp_path / "bytes.toml")


def test_the_mapping_in_the_readme_says_what_it_claims_to(desk):
    text = (Path(__file__).parents[2] / "README.md").read_text("utf-8")
    (toml,) = [block for block in re.findall(r"```toml\n(.*?)```", text, re.S) if "[[source]]" in block]
    header = ["No", "Year", "Site", "Tech", "In", "Type", "Cause", "Part 1", "Qty 1", "Part 2", "Draft"]
    rows = [
        ["17", "2025", "0042", "Ortiz J / Lee", "13.01.25 08:15", "NH", "TRAP, full", "PS-1", "", "H-2", "0,82"],
        ["18", "2025", "0043", "", "14.01.25 09:00", "Umbau", "NONE", "", "", "", "-"],
        ["19", "2025", "0043", "Lee", "15.01.25 09:00", "Test", "", "", "", "", ""],
    ]
    files = desk.load(toml, desk.write("jobs_2025_01.csv", header, rows)).files
    assert not any(file.n_held_back or file.error for file in files), files
    assert desk.query("SELECT visit_id, site_id, technician_id, visit_kind, cause_code FROM delivered.visits ORDER BY 1") == [
        ("2025-17", "N0042", "T014", "no_heat", "trap_fouled"), ("2025-18", "N0043", "not recorded", "other", None)
    ]  # fmt: skip
    assert desk.query("SELECT arrived_at FROM delivered.visits ORDER BY 1")[0][0].isoformat() == "2025-01-13T07:15:00"
    assert desk.query("SELECT line_no, part_number, quantity FROM delivered.part_lines ORDER BY 1") == [
        (1, "PS-1", 1),
        (2001, "H-2", 1),
    ]
