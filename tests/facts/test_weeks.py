"""Exposure, faults and weather by week."""

from __future__ import annotations

from datetime import date

import pytest


def served(records, condition="true"):
    return dict(
        records.ask(
            f"SELECT week_on, sum(n_appliances)::INT FROM appliance_week WHERE {condition} GROUP BY 1 ORDER BY 1"
        )
    )


def test_an_appliance_is_served_from_its_first_visit_for_the_span_after_its_last(records_with):
    records = records_with(service_gap_days=14).visits("""
        visit_id | site_id | appliance_id | visit_kind  | arrived_at
        a        | one     | F1           | maintenance | 2024-01-03
        b        | one     | F1           | maintenance | 2024-01-10
        z        | twin    | B1           | maintenance | 2024-02-07""")
    weeks = served(records, "region = 'north'")
    assert weeks == {
        date(2024, 1, 1): 1,
        date(2024, 1, 8): 1,
        date(2024, 1, 15): 1,
        date(2024, 1, 22): 1,
        date(2024, 1, 29): 0,
        date(2024, 2, 5): 0,
    }
    assert served(records, "region = 'south'") == {date(2024, 2, 5): 1}


def test_a_removed_appliance_is_no_longer_served(records):
    records.con.execute("UPDATE delivered.appliances SET removed_on = '2024-01-10' WHERE appliance_id = 'F1'")
    records.visits("""
        visit_id | site_id | appliance_id | visit_kind  | arrived_at
        a        | one     | F1           | maintenance | 2024-01-03
        z        | twin    | B1           | maintenance | 2024-01-22""")
    assert list(served(records, "region = 'north'").values()) == [1, 1, 0, 0]


def test_exposure_is_split_by_kind_and_condensing(records):
    records.visits("""
        visit_id | site_id | appliance_id | visit_kind  | arrived_at
        a        | twin    | B1           | maintenance | 2024-01-03
        b        | twin    | B2           | maintenance | 2024-01-03
        c        | twin    | B2           | maintenance | 2024-01-04""")
    rows = records.ask(
        "SELECT region, appliance_kind, is_condensing, week_on, n_appliances FROM appliance_week ORDER BY 3"
    )
    week = date(2024, 1, 1)
    assert rows == [("south", "boiler", False, week, 1), ("south", "boiler", True, week, 1)]


def test_fault_weeks_have_a_row_for_every_week_and_the_contributing_cause_counts_where_the_cause_has_no_family(records):
    records.visits("""
        visit_id | symptom          | cause_code     | contributing_cause_code | arrived_at
        a        | draft_not_proven | trap_fouled    | nest_or_debris          | 2024-01-03
        b        | draft_not_proven | diaphragm_leak | hose_water              | 2024-01-17
        c        | draft_not_proven | nest_or_debris |                         | 2024-01-18
        d        | draft_not_proven | fan_worn       |                         | 2024-01-19
        e        | draft_not_proven |                |                         | 2024-01-20""")
    rows = records.ask(
        "SELECT family, week_on, n_faults, n_appliances FROM fault_week WHERE region = 'north' ORDER BY 1, 2"
    )
    weeks = [date(2024, 1, 1), date(2024, 1, 8), date(2024, 1, 15)]
    assert rows == [
        *[("blockage", week, n, 1) for week, n in zip(weeks, (0, 0, 1), strict=True)],
        *[("condensate", week, n, 1) for week, n in zip(weeks, (1, 0, 1), strict=True)],
    ]


def test_families_are_those_of_the_contract(records):
    from pipelines.contract.codes import BLOCKAGE_FAMILY, CONDENSATE_FAMILY

    rows = records.ask(
        "SELECT family, list(cause_code ORDER BY cause_code) FROM cause WHERE family IS NOT NULL GROUP BY 1"
    )
    assert dict(rows) == {"blockage": sorted(BLOCKAGE_FAMILY), "condensate": sorted(CONDENSATE_FAMILY)}


def test_week_summary(records):
    records.visits("""
        visit_id | job_id | symptom          | technician_id | arrived_at
        a        | J      | draft_not_proven | anna          | 2024-01-03
        b        | K      | draft_not_proven | ben           | 2024-01-10
        m        | L      | noise            | anna          | 2024-01-10
        z        | M      | noise            | anna          | 2024-02-20""")
    records.lines("visit_id | removed_tag\n a | T-1\n b | T-2").given(
        bench_tests="""
        bench_test_id | removed_tag | tested_at  | pressure_unit | is_diaphragm_torn
        X             | T-1         | 2024-01-05 | Pa            | true"""
    )
    rows = records.ask("""SELECT branch, week_on, n_visits, n_draft_faults, n_swaps, n_without_cause, n_tested, n_good,
        n_faulty, n_callbacks_30, n_mature_30 FROM week_summary ORDER BY 1, 2""")
    assert rows == [
        ("east", date(2024, 1, 1), 1, 1, 1, 1, 1, 0, 1, 1, 1),
        ("east", date(2024, 1, 8), 1, 0, 0, 0, 0, 0, 0, 0, 0),
        ("east", date(2024, 2, 19), 1, 0, 0, 0, 0, 0, 0, 0, 0),
        ("west", date(2024, 1, 8), 1, 1, 1, 1, 0, 0, 0, 0, 1),
    ]


def test_a_week_is_not_mature_before_30_days_have_passed(records):
    records.visits("""
        visit_id | symptom          | arrived_at
        a        | draft_not_proven | 2024-01-03
        z        | noise            | 2024-02-01""")
    records.lines("visit_id\n a")
    assert records.ask("SELECT sum(n_mature_30)::INT FROM week_summary") == [(0,)]
    records.visits("visit_id | symptom | arrived_at\n y | noise | 2024-02-02")
    assert records.ask("SELECT sum(n_mature_30)::INT FROM week_summary") == [(1,)]


def test_a_callback_counts_only_once_its_swap_has_been_followed_for_30_days(records):
    records.visits("""
        visit_id | job_id | symptom          | arrived_at
        a        | J      | draft_not_proven | 2024-01-03
        b        | K      | draft_not_proven | 2024-01-10""")
    records.lines("visit_id\n a")
    query = "SELECT sum(n_callbacks_30)::INT, sum(n_mature_30)::INT FROM week_summary"
    records.visits("visit_id | symptom | arrived_at\n z | noise | 2024-02-01")
    assert records.ask(query) == [(0, 0)]
    records.visits("visit_id | symptom | arrived_at\n y | noise | 2024-02-02")
    assert records.ask(query) == [(1, 1)]


def test_sixty_over_forty_fahrenheit_is_fifteen_degree_days(records):
    """(60 + 40) / 2 = 50; 65 - 50 = 15 Fahrenheit degree days. Definition from memory."""
    low, high = (40 - 32) / 1.8, (60 - 32) / 1.8
    records.given(
        weather_days=f"""
        weather_station_id | day_on     | min_temperature_c | max_temperature_c
        W1                 | 2024-01-01 | {low}             | {high}"""
    )
    assert records.one("SELECT heating_degree_days_c FROM weather_day") * 1.8 == pytest.approx(15, abs=1e-5)


def test_weather_days_cold_warm_and_unknown(records):
    records.given(
        weather_days="""
        weather_station_id | day_on     | min_temperature_c | max_temperature_c | snowfall_mm | max_gust_m_s
        W1                 | 2024-01-01 | -2                | 4                 | 30          | 11
        W1                 | 2024-01-02 | 20                | 30                |             |
        W1                 | 2024-01-03 |                   | 5                 |             |
        W1                 | 2024-01-04 | 0                 | 5                 |             |"""
    )
    rows = records.ask("""SELECT mean_c, round(heating_degree_days_c, 4), is_heating_day, is_freezing_night, snowfall_mm
        FROM weather_day ORDER BY day_on""")
    assert rows == [
        (1.0, 17.3333, True, True, 30.0),
        (25.0, 0.0, False, False, None),
        (None, None, None, None, None),
        (2.5, 15.8333, True, False, None),
    ]


def test_a_region_has_the_weather_of_the_station_most_of_its_sites_name(records):
    records.given(
        sites="site_id | region | weather_station_id\n s3 | north | W9\n s4 | north | W9",
        weather_days="""
            weather_station_id | day_on     | min_temperature_c | max_temperature_c | snowfall_mm
            W1                 | 2024-01-01 | 20                | 20                | 1
            W9                 | 2024-01-01 | -1                | 1                 | 5
            W9                 | 2024-01-07 | 8                 | 10                | 7
            W9                 | 2024-01-06 |                   |                   |
            W9                 | 2024-01-08 | -5                | -3                |""",
    )
    rows = records.ask("""SELECT region, week_on, round(heating_degree_days_c, 4), n_freezing_nights, snowfall_mm,
        n_days FROM weather_week ORDER BY week_on""")
    assert rows == [
        ("north", date(2024, 1, 1), round(18.333333 + 9.333333, 4), 1, 12.0, 2),
        ("north", date(2024, 1, 8), 22.3333, 1, None, 1),
    ]
