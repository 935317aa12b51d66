"""What the week is told with, on the page and on paper: the answer, its figures, what needs someone, what to do next."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import pandas as pd

from dashboard import empty_scope, figures_access, lookups, notices, scope_bar, store_access, words
from dashboard.charts.control import WEEKS_SHOWN
from models.figures.control import ControlChart
from models.figures.coverage import came_back
from models.figures.good_switch import GoodSwitch
from models.figures.safety import GRAVEST_FIRST, SAFETY_RULE
from models.figures.scope import Scope
from models.methods.estimate import Estimate

CHART_TITLES = {
    "no_root_cause": "Swaps without a root cause",
    "good_switch": "Good switches among clear bench results",
    "callback_30": "Came back within 30 days of the swap",
}
# Swaps in a week below which a share of them is not judged on its own.
FEWEST_TO_JUDGE = 5


def answer(facts: dict, chart: ControlChart, week: dict) -> str:
    """The week in a sentence, and whether it is more than chance. week: lookups.latest_week."""
    if not facts["n_visits"]:
        return "There are no visits for these filters."
    if not week:
        return f"{words.plural(facts['n_visits'], 'visit')} on record, and no draft fault among them."
    named = _week_named(week, week.get("records_end_on"))
    start = f"{named}: {words.plural(week['n_draft_faults'], 'draft fault')}"
    if not week["n_swaps"]:
        if facts["n_part_lines_classed"] < facts["n_part_lines"] or not facts["n_part_lines"]:
            return f"{start}. {notices.why_no_swap(facts)}"
        return f"{start}, and no switch was pulled."
    without = int(week["n_without_cause"])
    start += f", {words.plural(week['n_swaps'], 'switch', 'switches')} pulled, " + (
        "with a root cause on record." if not without else f"{words.count(without)} without a root cause on record."
    )
    if week["n_swaps"] < FEWEST_TO_JUDGE:
        return f"{start} With so few, a week says nothing about the habit; see the weeks together below."
    weeks = chart.weeks[pd.to_datetime(chart.weeks["week_on"]) == pd.Timestamp(week["week_on"])]
    if weeks.empty or weeks["lower"].isna().all():
        return f"{start} There are too few weeks before it to say whether that is unusual."
    now = weeks.iloc[-1]
    limits = f"{words.share(now['lower'])} to {words.share(now['upper'])}"
    if not now["lower"] <= now["share"] <= now["upper"]:
        side = "more" if now["share"] > now["centre"] else "less"
        return f"{start} That is {side} than chance explains: {words.share(now['share'])}, against a usual {limits}."
    return f"{start} That is no more than the usual up and down: {words.share(now['share'])}, within {limits}."


def _week_named(week: dict, last_on: object) -> str:
    """The week by its first day; where the records end within it, how many of its days they hold."""
    named = f"In the week of {words.date(week['week_on'])}"
    n_days = (pd.Timestamp(str(last_on)) - pd.Timestamp(week["week_on"])).days + 1 if last_on is not None else 7
    return f"{named}, of which the records hold {words.plural(n_days, 'day')} so far" if n_days < 7 else named


@dataclass(frozen=True)
class CardText:
    """A figure of the week with its words. what: the visits behind it (models.figures.cases)."""

    label: str
    estimate: Estimate
    unit: str
    key: str
    rests_on: str
    note: str
    what: str
    behind_label: str = "Show the visits behind it"


@dataclass(frozen=True)
class VisitList:
    """Visits that need someone: title, the rule they are chosen by, what is said when there is none.

    frame: the first of the n visits. first: what the first ones are ("newest"). behind: gives more, as many as asked for.
    """

    title: str
    frame: pd.DataFrame
    n: int
    behind: Callable[[int | None], pd.DataFrame]
    key: str
    otherwise: str
    rule: str = ""
    first: str = "newest"

    def cut_to(self, n_shown: int) -> str:
        """How many of how many are shown where only the first n_shown are; blank where that is all of them."""
        return f"the {self.first} {words.count(n_shown)} of {words.count(self.n)}" if self.n > n_shown else ""


def cards(scope: Scope, facts: dict) -> list[CardText]:
    """The figures at the top of the week. facts: coverage."""
    good = figures_access.good_switch(scope)
    returns = figures_access.callbacks(scope)
    window = store_access.settings().headline_window
    pair = returns.windows.get(window) or next(iter(returns.windows.values()), {})
    found = [
        CardText(
            "Switches pulled that were good",
            good.adjusted,
            "share",
            "good",
            words.tested(good.n_tested, good.n_good + good.n_faulty, good.n_swaps),
            weighted(good),
            "bench_good",
            "Show the ones found good",
        )
    ]
    for group, title in (
        ("without_cause", f"Back within {window} days, no root cause recorded"),
        ("with_cause", f"Back within {window} days, root cause recorded"),
    ):
        if group in pair:
            note = at_most(pair[group], returns.possible.get(window, {}).get(group))
            rests_on = words.followed(pair[group], window)
            found.append(CardText(title, came_back(pair[group], facts), "share", group, rests_on, note, group))
    if "difference" in pair:
        found.append(
            CardText(
                "More came back without a root cause",
                came_back(pair["difference"], facts),
                "points",
                "difference",
                "In percentage points. An association: it need not be the record that made the difference.",
                never_complete(facts),
                f"back_{window}",
                f"Show what came back within {window} days",
            )
        )
    return found


def weighted(good: GoodSwitch) -> str:
    """That the tested ones stand for all that were pulled, and what they alone would say; blank where it is not known."""
    if not good.adjusted.is_known or not good.tested.is_known:
        return ""
    return f"The tested ones weighted to stand for all pulled; of them alone {words.share(good.tested.value)}"


def gravest_first(items: pd.DataFrame) -> pd.DataFrame:
    """Open safety items by what is on record, the newest of each first; a cause not listed stands last."""
    place = {code: n for n, code in enumerate(GRAVEST_FIRST)}
    return items.sort_values(
        "cause_code", key=lambda codes: codes.map(place).fillna(len(place)), kind="stable", ignore_index=True
    )


def lists(scope: Scope) -> list[VisitList]:
    """What needs someone today: open safety items, quick returns, swaps coming to maturity, missing evidence."""
    when = "in the week after the records" if scope_bar.is_stale() else "this week"
    safety = gravest_first(lookups.safety_items(scope))
    found = [
        VisitList(
            "Open safety items",
            safety,
            len(safety),
            lambda limit: safety.head(len(safety) if limit is None else limit),
            "safety",
            "No safety item is open on record.",
            SAFETY_RULE + ("; older ones too, whatever the period" if scope.start_on or scope.end_on else ""),
            "gravest",
        )
    ]
    for title, ask, key, otherwise, first in (
        (
            "Back at the same site within 14 days",
            lookups.quick_returns,
            "returns",
            "No site was visited twice for a draft fault in the last 14 days on record.",
            "newest",
        ),
        (
            f"Thirty days up {when}, no root cause on record",
            lookups.maturing,
            "maturing",
            f"No swap without a root cause reaches its thirtieth day {when}.",
            "soonest",
        ),
        (
            "Evidence to ask for while it is fresh",
            lookups.missing_evidence,
            "evidence",
            "Every swap of the last 7 days on record has its reading, its cause and its tag."
            if lookups.recent_swaps(scope)
            else "No switch is known to have been pulled in the last 7 days on record.",
            "newest",
        ),
    ):
        part = ask(scope)
        found.append(VisitList(title, part.rows, part.n, _more(ask, scope), key, otherwise, first=first))
    return found


def _more(ask: Callable[[Scope, int | None], lookups.First], scope: Scope) -> Callable[[int | None], pd.DataFrame]:
    return lambda limit: ask(scope, limit).rows


def caption(chart: ControlChart, weeks_shown: int = WEEKS_SHOWN) -> str:
    """What is said under a weekly chart: whether a week stands out, what its limits rest on, how much is drawn."""
    lines = [chart.sentence]
    if chart.baseline_from:
        lines.append(f"Limits rest on {words.date(chart.baseline_from)} to {words.date(chart.baseline_to)}.")
    if len(chart.weeks) > weeks_shown:
        lines.append(f"Drawn are the last {weeks_shown} of {words.count(len(chart.weeks))} weeks.")
    return words.with_dates(" ".join(lines))


def unproven(facts: dict) -> str:
    """Why callbacks cannot be told, where most swaps do not say on which appliance."""
    return came_back(Estimate(0.0, 0.0, 0.0, 0, None, ""), facts).sentence


def never_complete(facts: dict) -> str:
    """How many swaps no callback is counted after, since nothing says when the job was done; blank where there is none."""
    n = int(facts["n_swaps_never_complete"])
    return f"Left out: {words.plural(n, 'swap')} whose job was never declared complete" if n else ""


def at_most(certain: Estimate, possible: Estimate | None) -> str:
    """What the share could be if the visits that do not prove their appliance were callbacks too; blank if the same."""
    if possible is None or possible.value is None or certain.value is None or possible.value <= certain.value:
        return ""
    if words.share(possible.value) == words.share(certain.value):
        return ""
    return f"Up to {words.share(possible.value)} if the unproven ones are the same appliance."


def steps(scope: Scope, facts: dict) -> list[str]:
    """What to do next, by what is open."""
    found = []
    if not lookups.safety_items(scope).empty:
        found.append(
            "Call the owner of each open safety item today; the appliance stays off until licensed people have decided."
            + (" The records end some time ago: ask first what was done since." if scope_bar.is_stale() else "")
        )
    n_waiting = lookups.missing_evidence(scope).n
    if n_waiting:
        found.append(
            f"Ask for the missing reading, cause or tag on {words.plural(n_waiting, 'visit')} of the last 7 days, "
            f"before it is forgotten."
        )
    if lookups.quick_returns(scope).n:
        found.append(
            "Read the earlier readings before anyone goes back to a site listed above; send someone who will "
            "gauge the draft."
        )
    if not facts["n_swaps"]:
        wider = empty_scope.wider(scope)
        return found or [wider or "Load records that tell which switches were pulled; see Records."]
    found.append("Send removed switches to the bench with their tag on: each test narrows the range above.")
    return found
