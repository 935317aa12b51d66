"""Before a season the page lists the sites to check, the parts to carry and the first frosts, as the pack does."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Callable
from pathlib import Path

import pandas as pd
import pytest
from page_texts import assert_drawn, opened, said, text_tables

from dashboard import download, notices, season_lists
from dashboard.printed import season, web_page
from models.figures.scope import Scope
from pipelines.loading import load

N_SITES = 34
# The site with most such faults: drained twice, blocked once, once without a cause of either kind.
BUSY = ("trap_fouled", "drain_frozen", "nest_or_debris", "fan_worn")


@pytest.fixture(scope="module")
def season_home(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """34 sites with a condensate fault in the last year, one of them with more; weather of two seasons in two regions."""
    home = tmp_path_factory.mktemp("season")
    visits = [
        "visit_id,site_id,appliance_id,technician_id,arrived_at,visit_kind,symptom,cause_code,is_declared_complete"
    ]
    start = "visit_id,reading_no,quantity,value,unit,condition,contacts,taken"
    readings, lines = [start], ["visit_id,line_no,part_number,part_class,quantity"]
    for number, cause in enumerate(BUSY):
        visits.append(f"B{number},S00,A00,T1,2026-0{number + 1}-10T10:00:00Z,no_heat,draft_not_proven,{cause},yes")
    # The newest visit of the site was not read: its last margin is of the one before, 260 less 200 Pa.
    readings += [
        f"B{number},1,draft_at_switch,{draft},Pa,hot_running,open,before_repair"
        for number, draft in enumerate((150, 170, 260))
    ]
    for number in range(1, N_SITES):
        visits.append(
            f"V{number},S{number:02d},A{number:02d},T1,2026-03-01T10:00:00Z,no_heat,draft_not_proven,trap_fouled,yes"
        )
        lines += [f"V{number},1,TR-1,trap,1"] if number <= 10 else []
    # A year and more before the last visit: not of the last season.
    visits.append("OLD,S99,A99,T1,2025-01-05T10:00:00Z,no_heat,draft_not_proven,trap_fouled,yes")
    sites = ["site_id,region,weather_station_id"]
    sites += [f"S{n:02d},{'Coast' if n % 2 else 'Hills'},{'WC' if n % 2 else 'WH'}" for n in range(N_SITES)]
    appliances = ["appliance_id,site_id,rated_make_pressure,make_tolerance,pressure_unit"]
    appliances += [f"A{n:02d},S{n:02d},200,10,Pa" for n in range(N_SITES)]
    frosts = {
        ("WC", 2024): "2024-11-20",
        ("WC", 2025): "2025-11-03",
        ("WH", 2024): "2024-10-02",
        ("WH", 2025): "2025-10-15",
    }
    weather = ["weather_station_id,day_on,min_temperature_c"]
    for (station, year), frost in frosts.items():
        days = pd.date_range(f"{year}-07-01", f"{year}-12-31")
        weather += [f"{station},{day:%Y-%m-%d},{-2 if f'{day:%Y-%m-%d}' >= frost else 8}" for day in days]
    tables = {
        "visits": visits, "readings": readings, "part_lines": lines, "sites": sites, "appliances": appliances,
        "weather_days": weather,
    }  # fmt: skip
    for name, rows in tables.items():
        (home / f"{name}.csv").write_text("\n".join(rows) + "\n", "utf-8")
    (home / "settings.toml").write_text('default_pressure_unit = "Pa"\n', "utf-8")
    load(home, [home / f"{name}.csv" for name in tables])
    return home


@pytest.fixture
def exports(monkeypatch: pytest.MonkeyPatch) -> dict[str, Callable[[], pd.DataFrame]]:
    """What the files of the tables drawn are made from, by the table's key."""
    made: dict[str, Callable[[], pd.DataFrame]] = {}
    drawn = download.table

    def noted(frame: Callable[[], pd.DataFrame], name: str, key: str) -> None:
        made[key] = frame
        drawn(frame, name, key)

    monkeypatch.setattr(download, "table", noted)
    return made


def table_with(test: object, title: str) -> dict[str, list[str]]:
    (found,) = [one for one in text_tables(test) if title in one]
    return found


@pytest.mark.parametrize("served_home", ["season_home"], indirect=True)
def test_the_page_lists_sites_parts_and_frosts_and_exports_them_whole(served_home: Path, exports: dict) -> None:
    test = opened("seasons")
    assert_drawn(test)
    headers = [one.value for one in test.header]
    assert headers.index(season_lists.SITES) < headers.index(season_lists.PARTS) < headers.index(season_lists.FROSTS)
    text = said(test)
    assert f"{N_SITES} sites had a condensate or blockage fault in the last 365 days on record" in text
    assert f"Lines 1 to 8 of {N_SITES}, most such faults first." in text
    assert f"see “{season_lists.SITES}” above" in text and "find them under the visits" not in text
    sites = table_with(test, "Why")
    assert len(sites["Site"]) == 8
    assert {title: cells[0] for title, cells in sites.items()} == {
        "Site": "S00",
        "Region": "Hills",
        "Why": "2 condensate and 1 blockage fault; 4 draft faults in all",
        "Last such fault": "10 Mar 2026",
        "Last draft margin, Pa": "60",
        "Read on": "10 Mar 2026",
    }
    assert sites["Why"][1] == "1 condensate fault; 1 draft fault in all"
    assert (sites["Last draft margin, Pa"][1], sites["Read on"][1]) == ("not known", "")
    parts = table_with(test, "per 100 such faults")
    assert [cells[0] for cells in parts.values()] == ["trap", "TR-1", "10", "0", "28"], "10 at 33 + 3 faults"
    frosts = table_with(test, "Seasons on record")
    assert [[*line] for line in zip(*frosts.values(), strict=True)] == [
        ["Coast", "2", "3 Nov", "20 Nov", "3 Nov 2025"],
        ["Hills", "2", "2 Oct", "15 Oct", "15 Oct 2025"],
    ]
    whole = exports["season_sites"]()
    assert len(whole) == N_SITES and whole["Last draft margin, Pa"].iloc[0] == 60
    assert len(exports["season_parts"]()) == 1
    assert exports["season_frosts"]()["Earliest"].dt.date.tolist() == [dt.date(2025, 11, 3), dt.date(2024, 10, 2)]
    test.selectbox(key="part_season_sites").set_value(32).run()
    assert_drawn(test)
    assert f"Lines 33 to {N_SITES} of {N_SITES}" in said(test)


@pytest.mark.parametrize("served_home", ["season_home"], indirect=True)
def test_the_cautions_stand_before_the_lists(served_home: Path) -> None:
    bodies = [str(element.proto.body) for element in opened("seasons").get("html")]
    (cautions,), (sites,) = (
        [place for place, body in enumerate(bodies) if told in body] for told in (notices.SAFETY_POINTS[1], ">S00<")
    )
    assert cautions < sites


@pytest.mark.parametrize("served_home", ["season_home"], indirect=True)
def test_a_chosen_region_narrows_every_list(served_home: Path) -> None:
    test = opened("this_week", region="Coast")
    test.switch_page("views/seasons.py").run()
    assert_drawn(test)
    assert f"{N_SITES // 2} sites had a condensate or blockage fault" in said(test)
    assert {*table_with(test, "Why")["Region"]} == {"Coast"} == {*table_with(test, "Seasons on record")["Region"]}


@pytest.mark.parametrize("served_home", ["one_visit_home"], indirect=True)
def test_an_empty_list_says_what_to_do(served_home: Path) -> None:
    test = opened("seasons")
    assert_drawn(test)
    text = said(test)
    for told in (season_lists.NO_SITE, season_lists.NO_PART, season_lists.NO_FROST):
        assert told in text
    assert "Lines 1" not in text and season_lists.NOT_A_STOCK not in text


@pytest.mark.parametrize("served_home", ["season_home"], indirect=True)
def test_the_pack_points_to_the_page_for_the_sites_it_has_no_room_for(served_home: Path) -> None:
    page = web_page.web_page(season.season_pack(Scope(), None)).decode()
    text = " ".join(re.sub(r"<[^>]+>", " ", page.replace("<wbr>", "")).split())
    assert f"and {N_SITES - season.SITES_SHOWN} more: the page Seasons lists and exports them all" in text
    assert "TR-1" in text and "3 Nov 2025" in text
