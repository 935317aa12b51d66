"""Every page with every filter it offers: drawn, and no error; what a filter leaves is what the records say."""

from __future__ import annotations

from pathlib import Path

import pytest
from page_texts import assert_drawn, opened

from dashboard import lookups
from models.figures.scope import Scope
from pipelines.store import Store


@pytest.mark.parametrize("served_home", ["fleet_home"], indirect=True)
@pytest.mark.parametrize("name", ["this_week", "coaching", "parts_waste", "seasons", "sites"])
def test_a_page_is_drawn_with_each_of_its_filters(name: str, served_home: Path) -> None:
    test = opened(name)
    for key in ("period", "branch", "region", "appliance"):
        box = test.selectbox(key=key)
        everything, chosen = box.options[0], box.options[1]
        box.set_value(chosen.replace(" ", "_") if key == "appliance" else chosen).run()
        assert_drawn(test)
        test.selectbox(key=key).set_value(everything).run()


@pytest.mark.parametrize("served_home", ["fleet_home"], indirect=True)
def test_open_safety_items_are_narrowed_as_the_records_say(served_home: Path) -> None:
    everything = lookups.safety_items(Scope())
    con = Store(served_home).open_reader()
    try:
        about = con.execute("SELECT visit_id, branch, region, appliance_kind, arrived_on FROM visit").df()
    finally:
        con.close()
    about = everything[["visit_id"]].merge(about, on="visit_id", how="left")
    assert len(about) == len(everything) > 1
    for column in ("branch", "region", "appliance_kind"):
        name = about[column].dropna().iloc[0]
        wanted = about.loc[about[column] == name, "visit_id"].tolist()
        assert lookups.safety_items(Scope(**{column: name}))["visit_id"].tolist() == wanted
    day = about["arrived_on"].sort_values().iloc[len(about) // 2]
    found = lookups.safety_items(Scope(start_on=day.date()))["visit_id"].tolist()
    assert found == about.loc[about["arrived_on"] >= day, "visit_id"].tolist()
