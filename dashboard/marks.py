"""The marks of each chart with the visits behind them: what a week, month, branch, part, technician or reading stands for."""

from __future__ import annotations

import calendar
import datetime as dt
from collections.abc import Callable, Iterable
from dataclasses import replace
from functools import partial
from typing import Any

import pandas as pd

from dashboard import figures_access, visit_link, visit_table, words
from dashboard.chart_drill import Mark
from dashboard.charts.callbacks import GROUPS, mark_of
from dashboard.charts.control import WEEKS_SHOWN
from dashboard.charts.waste import KINDS, MONTHS_SHOWN
from models.figures.callbacks import Callbacks
from models.figures.scope import Scope

# What a weekly chart counts, by its name: the visits (models.figures.cases), and what they are called.
WEEKLY = {
    "no_root_cause": ("swaps", "Swaps"),
    "good_switch": ("bench_clear", "Swaps with a clear bench result"),
    "callback_30": ("followed_30", "Swaps followed up for 30 days, or until they came back,"),
}
# The parts of a month's cost, by the column that holds them.
COST = {
    "known": ("bench_good", KINDS[0], "Swaps of switches the bench found good"),
    "estimated": ("without_clear_result", KINDS[1], "Swaps without a clear bench result"),
}
MONTH_NAMES = list(calendar.month_name)


def of_visits(key: str, label: str, told: str, behind: visit_table.Behind) -> Mark:
    """A mark that opens a table of visits. behind: gives the newest, at most as many as asked for."""
    return Mark(key, label, told, partial(visit_table.show, behind))


def weeks(name: str, frame: pd.DataFrame, scope: Scope) -> list[Mark]:
    """The weeks of a weekly chart that have a case, newest first. name: of models.figures.control; frame: its weeks."""
    what, title = WEEKLY[name]
    drawn = frame.tail(WEEKS_SHOWN)
    return [
        of_visits(
            day.isoformat(),
            f"Week of {words.date(day)}: {words.share(share)} of {words.count(n)}",
            f"{title} in the week of {words.date(day)}",
            figures_access.behind(scope, what, week_on=day),
        )
        for day, share, n in reversed(
            [(pd.Timestamp(on).date(), share, n) for on, share, n in zip(drawn["week_on"], drawn["share"], drawn["n"], strict=True)]
        )
        if not words.is_missing(share)
    ]  # fmt: skip


def months_of_year(
    family: str, title: str, by_month: list[dict[str, Any]], starts_month: int, scope: Scope
) -> list[Mark]:
    """The months of the seasons' picture. As its weeks are, only period and region narrow them."""
    narrowed = replace(scope, branch=None, appliance_kind=None)
    years = "all years on record" if scope.start_on is None and scope.end_on is None else "the years in these dates"
    ordered = sorted(by_month, key=lambda month: (month["month"] - starts_month) % 12)
    return [
        of_visits(
            str(month["month"]),
            f"{MONTH_NAMES[month['month']]}: {words.plural(month['n_faults'], 'fault')}",
            f"{title} faults in weeks whose middle lies in {MONTH_NAMES[month['month']]}, of {years}",
            figures_access.behind(narrowed, family, week_month=month["month"]),
        )
        for month in ordered
        if month["rate_per_1000"] is not None
    ]


def months_of_cost(by_month: pd.DataFrame, currency: str, scope: Scope) -> list[Mark]:
    """The parts of the bars of the cost by month, newest first. by_month: models.figures.waste."""
    found = []
    for row in by_month.tail(MONTHS_SHOWN).iloc[::-1].to_dict("records"):
        first = pd.Timestamp(row["month_on"]).date()
        name = f"{MONTH_NAMES[first.month]} {first.year}"
        for column, (what, kind, title) in COST.items():
            if not words.is_missing(row[column]):
                found.append(
                    of_visits(
                        f"{first:%Y-%m} {column}",
                        f"{name}, {kind.split(':')[0]}: {words.money(row[column], currency)}",
                        f"{title} in {name}",
                        figures_access.behind(in_month(scope, first), what),
                    )
                )
    return found


def in_month(scope: Scope, first: dt.date) -> Scope:
    """The scope narrowed to the month that begins on this day."""
    last = first.replace(day=calendar.monthrange(first.year, first.month)[1])
    return replace(
        scope,
        start_on=max(first, scope.start_on) if scope.start_on else first,
        end_on=min(last, scope.end_on) if scope.end_on else last,
    )


def groups(
    column: str,
    values: Iterable[Any],
    scope: Scope,
    what: str = "swaps",
    title: str = "Swaps",
    shown: Callable[[Any], str] = str,
) -> list[Mark]:
    """One mark per group, in the order of their names. column: a key of models.figures.cases. shown: a value in words."""
    behind = figures_access.behind_each(scope, what, column)
    named = []
    for value in values:
        is_known = not words.is_missing(value)
        name = shown(value) if is_known else "not recorded"
        named.append((name, value if is_known else None))
    return [
        of_visits(
            name, name, f"{title}, {words.label(column.removesuffix('_id'))} {name}",
            behind(value),
        )
        for name, value in sorted(named, key=lambda one: one[0].lower())
    ]  # fmt: skip


def readings(frame: pd.DataFrame, told: Callable[[Any], str]) -> list[Mark]:
    """The readings of one site, newest first; each opens its visit in full, which then stands in the address. frame: dashboard.lookups.margins.

    told: the margin of a row in words.
    """
    return [
        Mark(
            str(row.visit_id),
            f"{words.date(row.arrived_on)}: {told(row)}",
            f"Visit {row.visit_id} of {words.date(row.arrived_on)}, draft margin {told(row)}",
            partial(visit_link.opened, str(row.visit_id)),
        )
        for row in frame.drop_duplicates("visit_id", keep="last").iloc[::-1].itertuples()
    ]


def steps(frame: pd.DataFrame, technician_id: str, scope: Scope) -> list[Mark]:
    """The steps of one person's sheet; each opens their swaps without it. frame: technician_sheet.step_frame."""
    found = []
    for row in frame.dropna(subset=["own"]).itertuples():
        n_without = round((1 - row.own) * row.n_own)
        found.append(
            of_visits(
                row.step,
                f"{row.step}: not on {words.count(n_without)} of {words.plural(row.n_own, 'swap')}",
                f"Their swaps without this step: {row.step}",
                figures_access.behind(scope, f"skipped_{row.name}", technician_id=technician_id),
            )
        )
    return found


def came_back(returns: Callbacks, scope: Scope) -> list[Mark]:
    """The days of the settings on the callback curve; each opens what came back by then."""
    return [
        of_visits(
            mark_of(group, days),
            f"{words.days(days)}, {title}",
            f"Swaps {title} that came back within {words.days(days)}",
            figures_access.behind(scope, f"back_{days}_{group}"),
        )
        for group, title in GROUPS.items()
        if (returns.curve["group"].eq(group) & returns.curve["value"].notna()).any()
        for days in returns.windows
    ]


def missing(fields: pd.DataFrame, scope: Scope) -> list[Mark]:
    """The fields that are missing somewhere; each opens the visits without it. fields: field, title, n_missing."""
    return [
        of_visits(
            row.title,
            f"{row.title}: missing on {words.count(row.n_missing)}",
            f"Visits without: {row.title.lower()}",
            figures_access.behind(scope, f"lacks_{row.field}"),
        )
        for row in fields.itertuples()
        if row.n_missing
    ]
