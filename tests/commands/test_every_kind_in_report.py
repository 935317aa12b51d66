"""One small company with every kind of dirt, loaded as a person does; the report tells each with its number, twice alike:
as the command prints it, and as the page Records shows it."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

NOTE = "Replaced pressure switch and verified operation; all ok."
VISITS = [
    "visit_id,site_id,appliance_id,technician_id,arrived_at,visit_kind,symptom,is_declared_complete,Customer Phone,notes",
    *(f"V{n},S{n},A{n},T1,2025-01-{n + 10}T08:00:00,no_heat,draft_not_proven,yes,555,{NOTE}" for n in range(1, 7)),
    "V7,S1,A1,T1 / T2,2025-02-01T08:00:00,maintenance,,yes,,fine",
    "V8,S1,A1,TEST,2025-02-02T08:00:00,maintenance,,yes,,test",
    "V9,S1,A1,T1,2099-02-02T08:00:00,maintenance,,yes,,",
    "V10,S1,A1,T1,2025-03-09T02:30:00,maintenance,,yes,,",
    "V11,S1,A1,T1,2025-11-02T01:30:00,maintenance,,yes,,",
    "V1,S1,A1,T1,2025-01-11T08:00:00,no_heat,draft_not_proven,yes,555,revised: replaced the switch",
    f"V2,S2,A2,T1,2025-01-12T08:00:00,no_heat,draft_not_proven,yes,555,{NOTE}",
]
FILES = {
    "visits.csv": VISITS,
    # The export of the next week overlaps.
    "visits_2.csv": [VISITS[0], VISITS[3], VISITS[4].replace(NOTE, "Replaced the switch on unit 4"), VISITS[5]],
    "visits_3.csv": [
        "visit_id,site_id,appliance_id,technician_id,arrived_at,left_at,visit_kind",
        "V12,S1-NEW,A1,T1,2025-04-01T10:00:00,2025-04-01T09:00:00,maintenance",
    ],
    "visit_crew.csv": ["visit_id,technician_id,is_lead", "V1,T1,yes", "V1,T2,no", "V2,T1,yes"],
    "readings.csv": [
        "visit_id,reading_no,quantity,value,condition",
        'V1,1,draft_at_switch,"3.5 in. w.c.",hot_running',
        'V1,2,draft_at_switch,"10 in. w.c.",hot_running',
        "V1,3,draft_at_switch,0 Pa,hot_running",
        "V1,4,draft_at_switch,0.8 Pa,hot_running",
        'V1,5,draft_at_switch,"180 in. w.c.",hot_running',
        "V1,6,draft_at_switch,-180 Pa,hot_running",
        "V1,7,draft_at_switch,0.8,hot_running",
        "V1,8,draft_at_switch,0.8 furlong,hot_running",
    ],
    "parts.csv": [
        "part_number,part_class,superseded_by,rated_make_pressure,pressure_unit",
        "DS,draft_switch,,0,Pa",
        "OLD,,DS,,",
        "GAS,gas_switch,,,",
        "C1,hose,C2,,",
        "C2,hose,C1,,",
    ],
    "part_lines.csv": [
        "visit_id,line_no,part_number,part_class,description,quantity,line_status",
        *(f"V{n},1,{'OLD' if n == 3 else 'DS'},,pressure switch,1," for n in range(1, 5)),
        "V1,2,DS,,pressure switch,-1,",
        "V5,1,GAS,,pressure switch LP,1,",
        "V5,2,,draft_switch,refrigerant pressure switch,1,quoted",
        "V6,1,,,pressure switch,1,",
    ],
    "appliances.csv": [
        "appliance_id,site_id,appliance_kind,model_code,serial_number,installed_on,removed_on",
        "A1,S1,furnace,M1,X17,2009-01-01,",
        "A2,S2,furnace,M1,,2009-01-01,",
        "A2b,S2,furnace,M1,,2009-01-01,",
        "A3,S3,furnace,M1,X19,2009-01-01,2025-01-20",
        "A3b,S3,furnace,M2,X20,2025-01-21,",
    ],
}
TOLD = (
    "visits.csv: personal columns dropped: Customer Phone.",
    "visits.csv: 1 visit names more than one technician in one cell",
    "visits.csv: 1 visit looks like a test entry.",
    "visits.csv: 7 visits have a note that stands word for word at 5 sites or more",
    "visits.csv: 1 arrival lies in the hour that occurs twice",
    "visits.csv: 1 arrival lies in the hour that clocks skip",
    "visits_3.csv: 1 visit ends before it began",
    "visits_3.csv: 1 visit names an appliance on record at another site only",
    "visit_crew.csv: 1 visit had two technicians or more",
    "readings.csv: 2 draft readings are above 2.8 in. w.c. and look like gas pressure",
    "readings.csv: 1 draft reading is above any gas pressure in a house",
    "readings.csv: 1 draft reading is exactly 0 while running",
    "readings.csv: 1 draft reading in Pa is as small as readings in inches of water",
    "readings.csv: 1 draft reading has a minus sign",
    "readings.csv: 1 row has pressures without a unit",
    "parts.csv: 1 rated make point is 0",
    "parts.csv: 3 parts name the number that replaced them",
    "parts.csv: 2 parts are replaced, in the end, by themselves",
    "part_lines.csv: 1 line takes another back",
    "part_lines.csv: 1 line classed as a draft switch speaks of gas, water, refrigerant or oil",
    "part_lines.csv: 1 line is called pressure switch and belongs to a gas, water or refrigerant circuit",
    "part_lines.csv: 1 line speaks of a switch and has no part class",
    "appliances.csv: 1 appliance was taken out and one of the same kind was put in its place",
    "appliances.csv: 1 group of twins stands on a site",
)


@pytest.fixture(scope="module")
def company(tmp_path_factory) -> Path:
    folder = tmp_path_factory.mktemp("dirt")
    (folder / "records").mkdir()
    for name, lines in FILES.items():
        (folder / "records" / name).write_text("\n".join(lines) + "\n")
    (folder / "home").mkdir()
    (folder / "home" / "settings.toml").write_text('time_zone = "America/Chicago"\n')
    return folder


@pytest.fixture(scope="module")
def printed(goodpull, company) -> str:
    done = goodpull("load", company / "records", "--home", company / "home")
    assert done.returncode == 0, done.stderr
    return done.stdout


@pytest.mark.parametrize("line", TOLD)
def test_the_command_tells_it_with_its_number(printed, line):
    assert line in " ".join(printed.split())


def test_overlapping_revised_and_held_back_rows_are_counted_file_by_file(printed):
    """Rows, accepted, of them revised, held back, the same."""
    counts = {
        line.split()[0]: tuple(line.split()[1:]) for line in printed.replace("│", " ").splitlines() if ".csv" in line
    }
    assert counts["visits.csv"] == ("13", "11", "1", "1", "1")
    assert counts["visits_2.csv"] == ("3", "1", "1", "0", "2")
    assert counts["readings.csv"] == ("8", "7", "0", "1", "0")
    said = " ".join(printed.split())
    assert "line 10: arrived_at is 2099-02-02T08:00:00; must lie between 1990 and tomorrow." in said
    assert "line 9: value is 0.8 furlong; must be one of" in said


def test_no_figure_takes_dirt_for_a_swap(goodpull, company, printed):
    """Four draft switches were fitted, one of them under its old number; one was credited, one line is a quotation."""
    told = json.loads(goodpull("figures", "--json", "--home", company / "home").stdout)
    assert told["coverage"]["n_swaps"] == 3


def test_the_page_shows_every_line_of_the_report(company, tmp_path):
    from dashboard.record_loading import _remark
    from pipelines.loading import load
    from pipelines.settings import Settings

    report = load(tmp_path / "home", [company / "records"], settings=Settings(time_zone="America/Chicago"))
    shown = " ".join(f"{file.file_name}: {_remark(file)}" for file in report.files)
    assert [line for line in TOLD[1:] if line.partition(": ")[2] not in shown] == []
    assert "Personal columns dropped: Customer Phone." in shown
