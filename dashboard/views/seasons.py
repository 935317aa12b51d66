"""Seasons: when condensate and blockage faults come, the next four weeks, and what to check before."""

from __future__ import annotations

from functools import partial

import pandas as pd
import streamlit as st

from dashboard import (
    chart_drill,
    download,
    figure_card,
    figures_access,
    marks,
    notices,
    page,
    reader_choice,
    roles,
    scope_bar,
    season_lists,
    store_access,
    visit_table,
    words,
)
from dashboard.charts.seasons import outlook, year
from models.figures.scope import Scope
from models.figures.seasons import Season
from models.methods.numeral import numeral

FAMILIES = {
    "condensate": (
        "Condensate",
        "traps, drains, water in the hose or the switch, the collector box or a sagging vent",
        (
            "Flush and refill the trap; blow through the drain.",
            "Drain outdoors or in an unheated space: insulate it, give it fall, or heat it.",
            "Hose: no low loop where water can stand.",
        ),
    ),
    "blockage": (
        "Blockage",
        "blocked intake or port, ice, snow, nests and debris at the outlet",
        (
            "Intake and outlet: clear, screened where the instructions allow, above the usual snow line.",
            "Sensing port: rod it clean.",
            "Outlet: no fresh shrub, cover or drift within the clearances of the instructions.",
        ),
    ),
}
WEATHER_WORDS = {
    "heating_degree_days_c": "per 10 heating degree-days ({unit}) more in the week",
    "n_freezing_nights": "per freezing night more, the two days after it counted in",
}
METHOD = (
    f"Faults per {numeral(1000)} appliances under service and week: Poisson regression with yearly harmonics and the "
    "number of appliances "
    "as exposure, ranges widened for dispersion. The peak and its range allow for up to three "
    "harmonics, the higher ones as far as the counts carry them; the curve shows those that pass a test. Weather: degree days and freezing nights of the week, and of the week a day and two days earlier. "
    "A region's weeks without any visit for more than four weeks count as not on record. With under two heating seasons of records the months are shown and no seasonal claim is made."
)
TERMS = ("Draft fault", "Heating season", "Heating day", "Range")


def show() -> None:
    roles.guard("seasons")
    st.title("Seasons")
    if not page.has_records():
        return
    scope = scope_bar.scope()
    families = figures_access.seasons(scope)
    page.answer(answer(families))
    unmoved = not_narrowed(scope)
    if unmoved:
        notices.told("Not narrowed by every filter", unmoved)
    download.pack("season", scope)
    columns = st.columns(2, gap="large")
    chosen = []
    for column, (name, (title, about, _)) in zip(columns, FAMILIES.items(), strict=True):
        with column:
            chosen.append((_family(families[name], title, about, scope), f"year_{name}"))
    # Below both pictures, where a table has room.
    for mark, key in chosen:
        chart_drill.opened(mark, key)
    st.header("The next four weeks after the records" if scope_bar.is_stale() else "The next four weeks")
    for column, (name, (title, _, _)) in zip(st.columns(2, gap="large"), FAMILIES.items(), strict=True):
        with column:
            _outlook(families[name], title)
    _before()
    notices.safety()
    season_lists.show(scope)
    st.header("The visits behind it")
    for name, (title, _, _) in FAMILIES.items():
        page.lazily(
            f"{title} faults, newest first",
            f"list_{name}",
            partial(visit_table.show, figures_access.behind(scope, name), f"list_{name}"),
        )
    page.next_steps(next_steps(families))
    page.how_computed(METHOD, TERMS)


def answer(families: dict[str, Season]) -> str:
    """When each family of faults peaks, in a sentence."""
    parts = []
    for name, (title, _, _) in FAMILIES.items():
        season = families[name]
        if season.is_claimed and season.peak_day.is_known:
            parts.append(
                f"{title} faults peak around {words.day_of_year(season.peak_day.value)} "
                f"({words.day_of_year(season.peak_day.low)} to {words.day_of_year(season.peak_day.high)})"
            )
        else:
            parts.append(f"{title}: {season.sentence or 'no seasonal claim can be made yet.'}".rstrip("."))
    return "; ".join(parts).replace("; Blockage faults peak", "; blockage faults peak") + "."


def not_narrowed(scope: Scope) -> str | None:
    """Which of the chosen filters the figures of the year do not follow, in a sentence; None where they follow all."""
    chosen = (("branch", scope.branch), ("kind of appliance", scope.appliance_kind))
    names = [name for name, choice in chosen if choice is not None]
    if not names:
        return None
    return (
        f"The figures of the year and of the next four weeks are of every {' and every '.join(names)}: faults are counted "
        "against the appliances under service in a region. The period, the region and the lists of visits are as chosen."
    )


def _family(season: Season, title: str, about: str, scope: Scope) -> chart_drill.Mark | None:
    """The figures and the picture of a family; the month that was chosen in it."""
    st.header(title)
    st.html(f'<p class="gp-quiet">{about}</p>')
    if all(month["rate_per_1000"] is None for month in season.by_month):
        figure_card.show(
            "Peak of the year",
            season.peak_day,
            "day_of_year",
            f"peak_{season.family}",
            rests_on=_by_count(season),
            behind=figures_access.behind(scope, season.family),
        )
        return None
    left, right = st.columns(2, gap="medium")
    n = sum(int(month["n_faults"] or 0) for month in season.by_month)
    with left:
        figure_card.show(
            "Peak of the year",
            season.peak_day,
            "day_of_year",
            f"peak_{season.family}",
            rests_on=f"{words.plural(n, 'fault')} in whole weeks",
            behind=figures_access.behind(scope, season.family),
        )
    with right:
        figure_card.show(
            "Highest against lowest week of the year",
            season.peak_to_trough,
            "ratio",
            f"ratio_{season.family}",
            rests_on=f"{words.plural(n, 'fault')} in whole weeks; {_evidence(season)}",
            behind=two_weeks(season, scope),
            behind_label="Show the visits of the two weeks",
        )
    starts = store_access.settings().season_starts_month
    chosen = chart_drill.chart(
        year(season.by_month, season.curve, page.colours(), starts),
        season.sentence,
        f"year_{season.family}",
        f"{title} faults of a month",
        marks.months_of_year(season.family, title, season.by_month, starts, scope),
    )
    lines = [
        weather_line(name, found)
        for name, found in season.weather.items()
        if isinstance(found, dict) and "ratio" in found
    ]
    weather = (
        f"Weather: {'; '.join(lines)}. {beyond_weather(season)}"
        if lines
        else "No weather records, so weather is not told from season."
    )
    st.caption(words.plain(f"{season.sentence} {weather}"))
    if not season.by_region.empty:
        page.lazily(f"{title} by region", f"regions_{season.family}", partial(_regions, season))
    return chosen


def two_weeks(season: Season, scope: Scope) -> visit_table.Behind:
    """The faults of the week in which the fitted curve is highest and of the one in which it is lowest, of all years.

    Without a fit: all faults of the family.
    """
    if season.curve.empty:
        return figures_access.behind(scope, season.family)
    days = season.curve.set_index("day_of_year")["rate"]
    asked = [
        figures_access.behind(scope, season.family, week_of_year=(int(day) - 1) // 7)
        for day in (days.idxmax(), days.idxmin())
    ]

    def found(limit: int | None) -> pd.DataFrame:
        both = pd.concat([one(limit) for one in asked], ignore_index=True)
        both = both.sort_values(["visit_on", "visit_id"], ascending=[False, True], ignore_index=True)
        return both if limit is None else both.head(limit)

    return figures_access.Counted(found, lambda: sum(one.n() for one in asked))


def weather_line(name: str, found: dict[str, float]) -> str:
    """The effect of one kind of weather in the reader's unit: 10 degree-days in °F are 10 × 5/9 in °C."""
    unit = reader_choice.temperature()
    power = 5 / 9 if name == "heating_degree_days_c" and unit == "°F" else 1.0
    ratio, low, high = (words.number(found[one] ** power, 2) for one in ("ratio", "low", "high"))
    about = WEATHER_WORDS.get(name, words.label(name)).format(unit=unit)
    return f"{about}: {ratio} times the faults ({low} to {high})"


def beyond_weather(season: Season) -> str:
    """Whether a season is left once the weather of the week is allowed for; blank without weather."""
    p_value, day = season.weather.get("p_value_given_weather"), season.weather.get("peak_day_given_weather")
    if p_value is None or words.is_missing(p_value):
        return ""
    if p_value >= 0.05:
        return "With the weather allowed for, no season is left that chance could not make."
    return f"With the weather allowed for, a season is left, with its peak around {words.day_of_year(day)}."


def _regions(season: Season) -> None:
    columns = (("Region", "text"), ("Faults", "number"), ("Peak", "text"), ("Highest to lowest", "number"))
    lines = [
        (
            row.region,
            words.count(row.n_faults),
            row.sentence
            if words.is_missing(row.peak_day)
            else f"{words.day_of_year(row.peak_day)} ({words.day_of_year(row.low)} to {words.day_of_year(row.high)})",
            "" if words.is_missing(row.peak_to_trough) else f"{words.number(row.peak_to_trough)} times",
        )
        for row in season.by_region.itertuples(index=False)
    ]
    page.rows(columns, lines, "")


def _by_count(season: Season) -> str:
    """The months by their faults alone, where there is nothing to count them against."""
    months = [
        f"{words.MONTHS[month['month'] - 1]} {words.count(month['n_faults'])}"
        for month in season.by_month
        if month["n_faults"]
    ]
    return f"Faults by month: {', '.join(months)}" if months else "No fault"


def _evidence(season: Season) -> str:
    if season.p_value is None:
        return "no fit"
    return (
        "far beyond chance"
        if season.p_value < 0.001
        else "beyond chance"
        if season.p_value < 0.05
        else "chance could explain it"
    )


def _outlook(season: Season, title: str) -> None:
    st.markdown(f"**{title}**")
    page.draw(outlook(season.outlook, page.colours()), "Too few records to look ahead.", f"outlook_{season.family}")
    told = skill_sentence(season)
    if told:
        st.caption(words.plain(told))


def skill_sentence(season: Season) -> str:
    """How far the outlook was off in past weeks; blank where it could not be tried."""
    skill = season.outlook_skill
    if skill and not words.is_missing(skill.get("error_model")) and not words.is_missing(skill.get("error_last_year")):
        return (
            f"Over {words.plural(skill['n_weeks'], 'past week')} this outlook was off by "
            f"{words.number(skill['error_model'])} faults a week "
            f"on average; taking the same week last year was off by {words.number(skill['error_last_year'])}. "
            f"{words.share(skill.get('share_in_range'))} of those weeks fell within its range, which is meant to hold "
            "95%."
        )
    return ""


def _before() -> None:
    st.header("What to check before the season")
    for column, (title, _, checks) in zip(st.columns(2, gap="large"), FAMILIES.values(), strict=True):
        with column:
            st.markdown(f"**{title}**\n" + "\n".join(f"- {words.plain(check)}" for check in checks))
    st.caption("Common practice; the manufacturer's instructions and the local code decide.")


def next_steps(families: dict[str, Season]) -> list[str]:
    """By when the checks should be done."""
    steps = []
    for name, (title, _, _) in FAMILIES.items():
        season = families[name]
        if season.is_claimed and season.peak_day.low is not None:
            steps.append(
                f"{title}: have the checks above done before {words.day_of_year(season.peak_day.low - 28)}, "
                f"four weeks before the peak may begin ({words.day_of_year(season.peak_day.low)})."
            )
    steps.append(f"Sites that had such a fault last season come first: see “{season_lists.SITES}” above.")
    return steps


if __name__ == "__main__":
    show()
