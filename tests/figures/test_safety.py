"""Safety reasons: one list of causes, what is open, and that no number of them pushes a flagged site off the list."""

from __future__ import annotations

from datetime import date, datetime, timedelta

import pytest

from models.figures import sites as sites_family
from models.figures.cases import visits_behind
from models.figures.safety import CLOSED_BY, SAFETY_CODES, SAFETY_WORDS, open_safety_items, safety_sites
from models.figures.scope import Scope
from models.figures.sites import sites
from pipelines.contract.codes import CAUSES

ALL = Scope()


def test_the_causes_are_those_the_contract_says_to_escalate():
    assert set(SAFETY_WORDS) == set(SAFETY_CODES) == {cause.code for cause in CAUSES if cause.must_escalate}
    assert set(CLOSED_BY) == set(SAFETY_CODES)
    assert {"exchanger_restricted", "exchanger_breached", "safety_bypassed", "wrong_switch_or_altitude"} <= set(
        SAFETY_CODES
    )


def test_sites_and_open_visits_are_counted_by_one_rule(store, put):
    """Four sites with one cause each, the last looked into since; the first has two open visits, on two appliances."""
    at = [datetime(2024, 1, 5, 10), datetime(2024, 1, 6, 10), *[datetime(2024, 1, 5, 10)] * 3, datetime(2024, 1, 9, 10)]
    codes = [SAFETY_CODES[0], SAFETY_CODES[0], *SAFETY_CODES[1:], "hose_water"]
    put("visit", visit_id=[f"v{n}" for n in range(6)], site_id=["s1", "s1", "s2", "s3", "s4", "s4"],
        appliance_key=["a1", "a1b", "a2", "a3", "a4", "a4"], arrived_at=at, arrived_on=[one.date() for one in at],
        cause_code=codes, cause_group="x", branch=["n", "n", "n", "n", "s", "s"])  # fmt: skip
    put("delivered.checks", visit_id=["v5"], check_code=CLOSED_BY[SAFETY_CODES[3]][0], outcome="sound")
    listed = safety_sites(store, ALL).set_index("site_id")["n_safety_open"]
    assert listed.to_dict() == {"s1": 2, "s2": 1, "s3": 1, "s4": 0}
    opened = open_safety_items(store, ALL)
    assert sorted(opened["visit_id"]) == ["v0", "v1", "v2", "v3"]
    assert listed.sum() == len(opened) and set(opened["site_id"]) == set(listed.index[listed > 0])
    assert sorted(visits_behind(store, ALL, "safety")["visit_id"]) == ["v0", "v1", "v2", "v3", "v4"]
    south = Scope(branch="s")
    assert safety_sites(store, south)["site_id"].tolist() == ["s4"] and open_safety_items(store, south).empty
    # A hazard found long ago is no less open because a page is narrowed to a later period.
    later = Scope(start_on=date(2031, 1, 1), end_on=date(2031, 12, 31))
    assert open_safety_items(store, later).equals(open_safety_items(store, ALL))
    assert safety_sites(store, later).equals(safety_sites(store, ALL))


# Common practice: what a check can say about a hazard. A sound combustion test does not rule out a breach; no check but the
# switch at rest shows that a bypass is gone.
@pytest.mark.parametrize(
    ("code", "check", "outcome", "is_open"),
    [
        ("exchanger_breached", "heat_exchanger", "sound", False),
        ("exchanger_breached", "heat_exchanger", "fault", True),
        ("exchanger_breached", "combustion", "sound", True),
        ("exchanger_restricted", "heat_exchanger", "sound", False),
        ("exchanger_restricted", "combustion", "sound", True),
        ("safety_bypassed", "switch_at_rest", "sound", False),
        ("safety_bypassed", "combustion", "sound", True),
        ("safety_bypassed", "heat_exchanger", "sound", True),
        ("wrong_switch_or_altitude", "rating_label", "sound", False),
        ("wrong_switch_or_altitude", "combustion", "sound", True),
    ],
)
def test_only_evidence_about_the_hazard_closes_it(store, put, code, check, outcome, is_open):
    """The later visit also found another cause, which closes nothing."""
    at = [datetime(2024, 1, 5, 10), datetime(2024, 1, 9, 10)]
    put("visit", visit_id=["v0", "v1"], site_id="s", appliance_key="a", arrived_at=at, arrived_on=[one.date() for one in at],
        cause_code=[code, "hose_water"], cause_group="x")  # fmt: skip
    put("delivered.checks", visit_id=["v1"], check_code=check, outcome=outcome)
    assert open_safety_items(store, ALL)["visit_id"].tolist() == (["v0"] if is_open else [])


def test_a_check_closes_only_what_came_before_it_on_the_same_appliance(store, put):
    at = [datetime(2024, 1, 5, 10), datetime(2024, 1, 9, 10), datetime(2024, 1, 12, 10)]
    put("visit", visit_id=["v0", "v1", "v2"], site_id="s", appliance_key=["a", "b", "a"], arrived_at=at,
        arrived_on=[one.date() for one in at], cause_code=["safety_bypassed", None, "safety_bypassed"],
        cause_group="x")  # fmt: skip
    put("delivered.checks", visit_id=["v0", "v1"], check_code="switch_at_rest", outcome="sound")
    assert open_safety_items(store, ALL)["visit_id"].tolist() == ["v2"], (
        "recorded again: listed once, by the last visit"
    )


@pytest.mark.parametrize(("first", "second", "told"), [
    ("exchanger_restricted", "exchanger_breached", "exchanger_breached"),
    ("wrong_switch_or_altitude", "safety_bypassed", "safety_bypassed"),
])  # fmt: skip
def test_of_two_hazards_of_one_visit_the_graver_is_told(store, put, first, second, told):
    at = datetime(2024, 1, 5, 10)
    put("visit", visit_id=["v0"], site_id="s", appliance_key="a", arrived_at=at, arrived_on=at.date(),
        cause_code=[first], contributing_cause_code=[second], cause_group="x")  # fmt: skip
    assert open_safety_items(store, ALL)["cause_code"].tolist() == [told]


def test_two_causes_of_one_visit_are_closed_one_by_one(store, put):
    at = [datetime(2024, 1, 5, 10), datetime(2024, 1, 9, 10), datetime(2024, 1, 12, 10)]
    put("visit", visit_id=["v0", "v1", "v2"], site_id="s", appliance_key="a", arrived_at=at,
        arrived_on=[one.date() for one in at], cause_code=["safety_bypassed", None, None],
        contributing_cause_code=["exchanger_breached", None, None], cause_group="x")  # fmt: skip
    both = open_safety_items(store, ALL)
    assert both["visit_id"].tolist() == ["v0"] and both["cause_code"].tolist() == ["exchanger_breached"]
    put("delivered.checks", visit_id=["v1"], check_code="heat_exchanger", outcome="sound")
    assert open_safety_items(store, ALL)["cause_code"].tolist() == ["safety_bypassed"]
    put("delivered.checks", visit_id=["v2"], check_code="switch_at_rest", outcome="sound")
    assert open_safety_items(store, ALL).empty


def test_many_safety_reasons_push_no_flagged_site_off_the_list(store, put, put_swaps, settings, monkeypatch):
    """With room for two watched sites, five safety sites stand before one that is flagged and four watched ones."""
    monkeypatch.setattr(sites_family, "LIST_LIMIT", 2)
    ids = [f"s{i:06d}" for i in range(400)]
    put("appliance_service", site_id=ids, appliance_key=[f"a{i}" for i in ids], region="r1", appliance_kind="furnace",
        is_condensing=True, served_from_on=date(2023, 1, 1), served_until_on=date(2025, 1, 1))  # fmt: skip
    site = ["s000000"] * 9 + [f"s{i:06d}" for i in range(1, 5) for _ in range(3)]
    put_swaps(site_id=site, appliance_key=[f"a{s}" for s in site], tier="none",
              swapped_on=[date(2024, 1, 1) + timedelta(days=9 * i) for i in range(len(site))])  # fmt: skip
    put("visit", visit_id=[f"x{i}" for i in range(5)], site_id=[f"safety{i}" for i in range(5)], cause_code=SAFETY_CODES[0],
        arrived_at=datetime(2024, 2, 1), arrived_on=date(2024, 2, 1), cause_group="heat_exchanger")  # fmt: skip
    found = sites(store, ALL, settings)
    assert found["is_safety"].sum() == 5
    others = found[~found["is_safety"]]
    assert "s000000" in others.loc[others["is_flagged"], "site_id"].tolist()
    assert (~others["is_flagged"]).sum() <= 2
    assert found["n_safety_open"].sum() == pytest.approx(5)
