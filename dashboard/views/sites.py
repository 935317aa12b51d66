"""Sites: safety reasons first, then where an unfound cause is likely, and the draft margin over time."""

from __future__ import annotations

from functools import partial

import pandas as pd
import streamlit as st

from dashboard import (
    chart_drill,
    figure_card,
    figures_access,
    in_address,
    long_list,
    lookups,
    marks,
    notices,
    page,
    roles,
    scope_bar,
    store_access,
    visit_table,
    words,
)
from dashboard.charts.margin import draft_margin
from models.figures.safety import SAFETY_RULE
from models.figures.scope import Scope
from models.figures.sites import draft_unit, reasons_in
from models.methods.estimate import Estimate, unknown

METHOD = (
    "A site is listed for a safety reason (heat exchanger, or a wrong or bypassed safety switch on record, on an appliance "
    "not taken out since), whatever the statistics say, whatever was done since and whatever the period. It is still open where "
    f"{SAFETY_RULE}; This week lists those visits, so it counts visits where this page counts sites. A site is listed, too, for "
    "more draft faults that came again within 180 days of one without a root cause than its mix of faults leads one to "
    "expect (Poisson, past a limit on false marks); or for a draft margin that shrinks over its visits "
    "(Theil-Sen slope "
    "with its range, exact Kendall test; of several readings on a day the middle one counts)."
)
TERMS = ("Draft margin", "Make point", "Root cause recorded", "Look here first", "Range")
ROWS_SHOWN = 8
# In the address: the listed site somebody chose.
LISTED = "listed_site"
# A change in a year is not told from readings that lie closer together.
SHORTEST_SPAN_DAYS = 365


def show() -> None:
    roles.guard("sites")
    st.title("Sites")
    if not page.has_records():
        return
    scope = scope_bar.scope()
    sites = figures_access.sites(scope)
    facts = figures_access.coverage(scope)
    page.answer(_answer(sites, facts))
    notices.safety()
    safety = open_first(sites[page.is_true(sites["is_safety"])])
    others = sites[~page.is_true(sites["is_safety"]) & page.is_true(sites["is_flagged"])]
    watched = sites[~page.is_true(sites["is_safety"]) & ~page.is_true(sites["is_flagged"])]
    st.header("Safety reasons on record")
    _list(
        safety,
        "No heat exchanger and no wrong or bypassed safety switch is on record.",
        "safety_sites",
        is_counted=False,
    )
    st.header("Look here first: a cause not yet found is likely")
    _list(others, "No site stands out beyond chance.", "flagged_sites")
    if not watched.empty:
        page.lazily(
            "Worth watching: something is there, but chance could explain it",
            "watched",
            lambda: _list(watched, "", "watched_sites"),
        )
    _one_site(sites, scope)
    page.next_steps(
        (
            "Safety reasons: check today that the appliance is off and that someone licensed has it in hand.",
            "Before the next visit to a listed site, read the earlier readings; take a gauge, and leave the old "
            "switch in until it is shown faulty.",
            "A margin that shrinks: trap, hose, vent and draft fan, in that order of effort; last the heat exchanger: "
            "where it is suspected, shut down.",
        )
    )
    page.how_computed(METHOD, TERMS)


def open_first(safety: pd.DataFrame) -> pd.DataFrame:
    """Sites with a safety reason, those still open before the others, which a short list folds away; else as they came."""
    return safety.sort_values("n_safety_open", key=lambda n: n.eq(0), kind="stable", ignore_index=True)


def _answer(sites: pd.DataFrame, facts: dict) -> str:
    n_safety = int(page.is_true(sites["is_safety"]).sum())
    n_others = int((page.is_true(sites["is_flagged"]) & ~page.is_true(sites["is_safety"])).sum())
    rest = f"of {words.plural(facts['n_sites'], 'site')} on record"
    if not n_safety and not n_others:
        return f"No site {rest} has a safety reason on record, and none stands out beyond chance."
    parts = []
    if n_safety:
        parts.append(f"{words.plural(n_safety, 'site')} with a safety reason on record, {_still_open(sites, n_safety)}")
    if n_others:
        parts.append(f"{words.plural(n_others, 'site')} where a cause not yet found is likely")
    return f"{words.joined(parts)}, {rest}."


def _still_open(sites: pd.DataFrame, n_safety: int) -> str:
    """At how many of these sites the records do not show that it was looked into."""
    n_sites, n_visits = int((sites["n_safety_open"] > 0).sum()), int(sites["n_safety_open"].sum())
    if not n_sites:
        return "none of them still open by the records"
    which = "all of them" if n_sites == n_safety else f"{words.count(n_sites)} of them"
    # Not every reader of this page may open the other.
    listed = " on This week" if roles.may_open("this_week") else ""
    return f"{which} still open ({words.plural(n_visits, 'visit')}{listed})"


def _list(sites: pd.DataFrame, otherwise: str, key: str, is_counted: bool = True) -> None:
    """Listed sites as text, all of them one click away. is_counted: with the counts the statistics rest on."""
    counts = (
        ("Draft faults", "number"),
        ("without a cause", "number"),
        ("expected", "number"),
        ("came again", "number"),
    )
    columns = (
        ("Site", "text"),
        ("Region", "text"),
        *(counts if is_counted else ()),
        *(() if is_counted else (("Still open on record", "text"),)),
        ("Last visit", "text"),
        ("Why it is listed", "text"),
    )
    unit = store_access.draft_unit()

    def lines(some: pd.DataFrame) -> list[tuple[str, ...]]:
        return [
            (
                site.site_id,
                site.region,
                *(
                    (
                        words.count(site.n_draft_faults),
                        words.count(site.n_unexplained),
                        words.number(site.expected_unexplained),
                        words.count(site.n_repeats),
                    )
                    if is_counted
                    else ("yes" if site.n_safety_open else "no",)
                ),
                words.date(site.last_visit_on).replace(" ", "\u00a0"),
                words.with_dates(" ".join(reasons_in(site, unit))),
            )
            for site in some.itertuples()
        ]

    is_cut = len(sites) > ROWS_SHOWN
    page.rows(columns, lines(sites.head(ROWS_SHOWN)), otherwise, is_exported=not is_cut)
    if is_cut:
        st.caption(f"The first {ROWS_SHOWN} of {words.count(len(sites))} sites.")

        def everything() -> None:
            table = sites.assign(reasons=[" ".join(reasons_in(site, unit)) for site in sites.itertuples()])
            long_list.show(columns, lines(sites), key, export=lambda: table)

        page.lazily(f"All {words.count(len(sites))}", f"all_{key}", everything)


def _one_site(sites: pd.DataFrame, scope: Scope) -> None:
    st.header("One site")
    listed = sites["site_id"].astype(str).tolist()
    left, right = st.columns([1, 2], gap="medium", vertical_alignment="bottom")
    with left:
        picked = in_address.choice(
            "Listed site",
            listed,
            LISTED,
            "Site {} is not listed for these filters.",
            "Choose a site" if listed else "None is listed",
            is_first_usual=True,
        )
    with right:
        typed = st.text_input("or any site by its id", key="site", bind="query-params", width=240)
    site_id = (typed or "").strip() or picked
    if not site_id:
        none = "No site is chosen." if listed else "No site is listed."
        st.markdown(f"{none} Type a site's id to see its draft margin and its visits.")
        return
    visits = figures_access.visits_behind(scope, "draft_faults", site_id=site_id)
    if visits.empty:
        st.markdown(words.plain(f"No draft fault at site {site_id} is on record for these filters."))
        return
    readings = lookups.margins(site_id, scope)
    unit = store_access.draft_unit()
    row = sites[sites["site_id"] == site_id]
    name = draft_unit(unit)[0]
    card, picture = st.columns([1, 3], gap="large")
    with card:
        figure_card.show(
            "Change of the draft margin in a year",
            slope(row, readings, unit),
            name,
            "slope",
            rests_on=words.plural(len(readings), "reading with a make point", "readings with a make point"),
            behind=figures_access.behind(scope, "draft_faults", site_id=site_id),
        )
    with picture:
        chosen = chart_drill.chart(
            draft_margin(readings, page.colours(), unit),
            "No reading of draft at the switch with a known make point: nothing to draw. Ask for one at the "
            "next visit.",
            "margin",
            "Visit of a reading",
            marks.readings(readings, lambda row: words.pressure(row.margin_pa, unit)),
        )
    chart_drill.opened(chosen, "margin")
    shown = partial(visit_table.show, figures_access.behind(scope, "draft_faults", site_id=site_id), "site")
    if typed or LISTED in st.query_params:
        st.markdown("**The visits behind it**")
        shown()
    else:
        # Nobody asked for this site: it is the first of the list. A browser takes longer over a grid than over the whole
        # page above it, so that one waits until it is wanted.
        page.lazily("The visits behind it", "site_visits", shown)


def slope(row: pd.DataFrame, readings: pd.DataFrame, unit: str | None) -> Estimate:
    """The change of the draft margin in a year, in the unit draft is told in; unknown where the readings cannot say.

    They cannot where no appliance was read over a year at least, or where the range holds no change at all.
    row: the site's row of models.figures.sites, or none. readings: dashboard.lookups.margins of the site.
    """
    n = len(readings)
    if row.empty or words.is_missing(row["margin_slope_pa_per_year"].iloc[0]):
        return unknown("Too few readings over time to draw a line through, or the margin does not shrink.", n)
    days = (
        pd.to_datetime(readings["arrived_on"]).groupby(readings["appliance"]).agg(lambda on: (on.max() - on.min()).days)
    )
    if days.empty or days.max() < SHORTEST_SPAN_DAYS:
        longest = 0 if days.empty else int(days.max())
        return unknown(
            f"The readings lie within {words.days(longest)}; a change in a year needs {SHORTEST_SPAN_DAYS} days.", n
        )
    site, per = row.iloc[0], draft_unit(unit)[1]
    value, low, high = (
        None if words.is_missing(site[name]) else float(site[name]) / per
        for name in ("margin_slope_pa_per_year", "margin_slope_low", "margin_slope_high")
    )
    if low is None or high is None or low <= 0 <= high:
        return unknown("The readings scatter too much to say whether the margin shrinks.", n)
    return Estimate(value, low, high, int(site["n_margins"]), None, "Theil-Sen")


if __name__ == "__main__":
    show()
