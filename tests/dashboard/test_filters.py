"""Every page with every filter it offers: drawn, and no error; what a filter leaves is what the records say."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import pytest
from page_texts import assert_drawn, opened

from dashboard import lookups
from models.figures.scope import Scope
from pipelines.loading import load


@pytest.mark.parametrize("served_home", ["fleet_home"], indirect=True)
@pytest.mark.parametrize("name", ["this_week", "coaching", "parts_waste", "seasons", "sites", "missing"])
def test_a_page_is_drawn_with_each_of_its_filters(name: str, served_home: Path) -> None:
    test = opened(name)
    for key in ("period", "branch", "region", "appliance"):
        box = test.selectbox(key=key)
        everything, chosen = box.options[0], box.options[1]
        box.set_value(chosen.replace(" ", "_") if key == "appliance" else chosen).run()
        assert_drawn(test)
        test.selectbox(key=key).set_value(everything).run()


@pytest.fixture(scope="module")
def safety_home(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Five visits that found the exchanger breached, at five sites, not looked into since."""
    home = tmp_path_factory.mktemp("safety")
    found = [("north", "coast"), ("north", "plain"), ("south", "coast"), ("south", ""), ("", "coast")]
    files = {
        "visits.csv": [
            "visit_id,site_id,technician_id,arrived_at,visit_kind,symptom,is_declared_complete,cause_code",
            *(
                f"V{n},S{n},T-{branch},2026-0{n}-05T10:00:00Z,no_heat,draft_not_proven,yes,exchanger_breached"
                for n, (branch, _) in enumerate(found, start=1)
            ),
        ],
        "sites.csv": ["site_id,region", *(f"S{n},{region}" for n, (_, region) in enumerate(found, start=1))],
        "technicians.csv": ["technician_id,branch", "T-north,north", "T-south,south", "T-,"],
    }
    for name, lines in files.items():
        (home / name).write_text("\n".join(lines) + "\n", "utf-8")
    load(home, [home / name for name in files])
    return home


@pytest.mark.parametrize("served_home", ["safety_home"], indirect=True)
@pytest.mark.parametrize(
    "scope, wanted",
    [
        (Scope(), "54321"),
        (Scope(branch="north"), "21"),
        (Scope(region="coast"), "531"),
        (Scope(branch="south", region="coast"), "3"),
        (Scope(appliance_kind="boiler"), ""),
        # However long ago: a period does not close what is open.
        (Scope(start_on=dt.date(2026, 2, 5), end_on=dt.date(2026, 4, 5)), "54321"),
    ],
)
def test_open_safety_items_are_narrowed_as_the_records_say(scope: Scope, wanted: str, served_home: Path) -> None:
    assert lookups.safety_items(scope)["visit_id"].tolist() == [f"V{n}" for n in wanted]
