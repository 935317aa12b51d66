"""What stands in the address: filters on every page, a claim, a site, a visit; and what an unknown or a closed id gives."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest
from page_texts import APP, SECONDS, assert_drawn, opened, said
from streamlit.testing.v1 import AppTest

from dashboard import code_names, figures_access, in_address, lookups, roles, sign_in, store_access, visit_link
from models.figures.scope import Scope

UNSCOPED = ("bench", "records", "corrections", "method")
EMAIL = "{}@company.example"


def at(view: str, chosen: dict[str, bool] | None = None, **address: str) -> AppTest:
    """The page opened by an address of its own. chosen: what a browser would have set from it."""
    test = opened("this_week")
    for key, value in (chosen or {}).items():
        test.session_state[key] = value
    if view != "this_week":
        test.switch_page(f"views/{view}.py")
    for param, asked in address.items():
        test.query_params[param] = asked
    return test.run()


@pytest.mark.parametrize("served_home", ["fleet_home"], indirect=True)
@pytest.mark.parametrize("name", UNSCOPED)
def test_a_page_that_is_not_narrowed_keeps_the_filters_in_the_address(served_home: Path, name: str) -> None:
    with roles.whoever_has_the_files():
        branch = store_access.row("SELECT min(branch) AS one FROM visit")["one"]
    test = opened("this_week", branch=branch, period="Last 12 months")
    test.switch_page(f"views/{name}.py").run()
    assert_drawn(test)
    assert test.query_params["branch"] == branch and test.query_params["period"] == "Last 12 months"
    test.run()
    assert test.query_params["branch"] == branch
    test.switch_page("views/seasons.py").run()
    assert test.selectbox(key="branch").value == branch


@pytest.mark.parametrize("served_home", ["fleet_home"], indirect=True)
def test_a_visit_in_the_address_is_shown_and_closed(served_home: Path) -> None:
    with roles.whoever_has_the_files():
        one = figures_access.visits_behind(Scope(), "swaps", 1)["visit_id"].iloc[0]
    test = at("this_week", visit=one)
    assert_drawn(test)
    assert f"Visit {one}, " in said(test) and "Notes as written" in said(test)
    assert "The appliance's whole history" in [one.label for one in test.expander]
    test.button(key="close_visit").click().run()
    assert_drawn(test)
    assert "Notes as written" not in said(test) and visit_link.PARAM not in test.query_params


@pytest.mark.parametrize("served_home", ["fleet_home"], indirect=True)
def test_an_unknown_id_is_said_and_nothing_is_shown(served_home: Path) -> None:
    test = at("this_week", visit="<b>none</b>")
    assert_drawn(test)
    assert "No visit <b>none</b> is on record" in " ".join(one.value for one in test.markdown).replace("\\", "")
    assert "Notes as written" not in said(test)
    test = at("parts_waste", claim="no-such")
    assert_drawn(test)
    assert "Claim no-such is not on record for these filters." in said(test)
    assert test.selectbox(key="claim_choice").value is None
    test = at("sites", listed_site="no-such")
    assert_drawn(test)
    assert "Site no-such is not listed for these filters." in said(test) and "No site is chosen." in said(test)
    assert test.selectbox(key="listed_site_choice").value is None and not test.dataframe
    test = at("coaching", technician="no-such")
    assert_drawn(test)
    assert "Technician no-such attended no draft fault" in said(test)
    assert in_address.shortened("x" * 500).endswith("x…") and len(in_address.shortened("x" * 500)) < 70


@pytest.mark.parametrize("served_home", ["fleet_home"], indirect=True)
def test_what_is_chosen_goes_into_the_address_and_back(served_home: Path) -> None:
    with roles.whoever_has_the_files():
        claim = str(lookups.claims(Scope())["claim_id"].iloc[-1])
        sites = figures_access.sites(Scope())["site_id"].astype(str).tolist()
    test = at("parts_waste")
    test.selectbox(key="claim_choice").set_value(claim).run()
    assert test.query_params["claim"] == claim
    assert at("parts_waste", claim=claim).selectbox(key="claim_choice").value == claim
    test = at("sites")
    assert "listed_site" not in test.query_params, "the first of the list is what the page shows by itself"
    test.selectbox(key="listed_site_choice").set_value(sites[1]).run()
    assert test.query_params["listed_site"] == sites[1]
    assert at("sites", listed_site=sites[1]).selectbox(key="listed_site_choice").value == sites[1]


@pytest.mark.parametrize("served_home", ["fleet_home"], indirect=True)
def test_under_code_names_the_address_names_nobody(served_home: Path) -> None:
    with roles.whoever_has_the_files():
        one = str(figures_access.technicians(Scope()).table["technician_id"].iloc[0])
        code = code_names.naming(True)(one)
    test = at("coaching", technician=one)
    assert test.selectbox(key="technician_choice").value == one and test.query_params["technician"] == one
    test.toggle(key=code_names.SWITCH_KEY).set_value(True).run()
    assert_drawn(test)
    assert test.selectbox(key="technician_choice").value == one
    assert test.query_params["technician"] == code != one
    # Whoever is sent it sees the same sheet, under the same name.
    test = at("coaching", {code_names.SWITCH_KEY: True}, technician=code)
    assert_drawn(test)
    assert test.selectbox(key="technician_choice").value == one and test.query_params["technician"] == code
    test.toggle(key=code_names.SWITCH_KEY).set_value(False).run()
    assert test.query_params["technician"] == one


def test_a_visit_opened_here_is_written_and_taken_out_again() -> None:
    def script() -> None:
        import streamlit as st

        from dashboard import visit_link

        visit_link.show()
        if st.session_state.get("is_there", True):
            visit_link.note(st.session_state.get("picked"), "a table")
        visit_link.settle()

    test = AppTest.from_function(script).run()
    assert visit_link.PARAM not in test.query_params
    test.session_state["picked"] = "V1"
    test.run()
    assert test.query_params[visit_link.PARAM] == "V1" and not test.markdown
    test.run()
    assert test.query_params[visit_link.PARAM] == "V1" and not test.markdown
    # The table is not drawn any more: the address does not promise what is not shown.
    test.session_state["is_there"] = False
    test.run()
    assert visit_link.PARAM not in test.query_params
    test.session_state["is_there"], test.session_state["picked"] = True, "V2"
    test.run()
    test.session_state["picked"] = None
    test.run()
    assert visit_link.PARAM not in test.query_params


def test_of_visits_open_at_two_places_the_one_opened_last_stands_in_the_address() -> None:
    def script() -> None:
        import streamlit as st

        from dashboard import visit_link

        visit_link.show()
        for place in ("a chart", "a table"):
            visit_link.note(st.session_state.get(place), place)
        visit_link.settle()

    test = AppTest.from_function(script)
    for place, visit in (("a table", "V1"), ("a chart", "V2"), ("a table", "V3"), ("a chart", "V4")):
        test.session_state[place] = visit
        test.run()
        assert test.query_params[visit_link.PARAM] == visit
        test.run()
        assert test.query_params[visit_link.PARAM] == visit
    # What is still open takes its place.
    test.session_state["a chart"] = None
    test.run()
    assert test.query_params[visit_link.PARAM] == "V3"
    test.session_state["a table"] = None
    test.run()
    assert visit_link.PARAM not in test.query_params


@pytest.mark.parametrize("served_home", ["fleet_home"], indirect=True)
def test_a_visit_opened_from_a_mark_of_a_chart_stands_in_the_address(served_home: Path) -> None:
    with roles.whoever_has_the_files():
        site = store_access.row(
            "SELECT site_id FROM field_evidence WHERE margin_pa IS NOT NULL GROUP BY 1 ORDER BY count(*) DESC, 1 LIMIT 1"
        )["site_id"]
        visit = str(lookups.margins(site, Scope())["visit_id"].iloc[0])
    test = at("sites", site=site)
    test.selectbox(key="mark_of_margin").set_value(visit).run()
    assert_drawn(test)
    assert test.query_params[visit_link.PARAM] == visit
    assert said(test).count("Notes as written") == 1, "not once more above the page"
    test.button(key="close_mark_margin").click().run()
    assert_drawn(test)
    assert visit_link.PARAM not in test.query_params and "Notes as written" not in said(test)


@pytest.fixture(scope="module")
def shared(fleet_home: Path, tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, list[str]]:
    """A home with one person a role, and a visit of the technician and one of somebody else."""
    home = tmp_path_factory.mktemp("addressed") / "home"
    shutil.copytree(fleet_home, home)
    with pytest.MonkeyPatch.context() as patched, roles.whoever_has_the_files():
        patched.setenv("GOODPULL_HOME", str(home))
        two = store_access.frame(
            "SELECT technician_id, min(visit_id) AS visit_id FROM draft_fault JOIN visit USING (technician_id) "
            "GROUP BY 1 ORDER BY count(*) DESC, 1 LIMIT 2"
        )
    people = [f'[people."{EMAIL.format(role)}"]\nrole = "{role}"' for role in ("trainer", "owner", "technician")]
    own = f'technician_id = "{two["technician_id"][0]}"'
    (home / "settings.toml").write_text("\n".join([*people, own, ""]), "utf-8")
    return home, two["visit_id"].tolist()


@pytest.mark.parametrize(
    ("role", "whose", "is_shown"),
    [("trainer", 1, True), ("owner", 1, True), ("technician", 0, True), ("technician", 1, False)],
)
def test_a_visit_is_shown_to_whoever_may_see_it(
    role: str, whose: int, is_shown: bool, shared: tuple[Path, list[str]], monkeypatch: pytest.MonkeyPatch
) -> None:
    home, visits = shared
    monkeypatch.setenv("GOODPULL_HOME", str(home))
    monkeypatch.setenv(sign_in.FLAG, "on")
    test = AppTest.from_file(str(APP), default_timeout=SECONDS)
    test.user = {"is_logged_in": True, "email": EMAIL.format(role)}
    test.query_params[visit_link.PARAM] = visits[whose]
    test.run()
    assert_drawn(test)
    text = said(test)
    assert (f"**Visit {visits[whose]}, " in text) == is_shown
    # Another's visit is told apart from none by nothing.
    assert (f"No visit {visits[whose]} of yours is on record" in text) == (not is_shown)
