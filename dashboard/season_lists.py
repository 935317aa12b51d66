"""The lists of a season to come, on the page and on paper: sites to check, parts to carry, first frosts by region."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import pandas as pd
import streamlit as st

from dashboard import long_list, season_lookups, store_access, words
from models.figures.scope import Scope
from models.figures.sites import draft_unit

SITES, PARTS, FROSTS = "Sites to check before the first frost", "Parts to carry", "First frost by region"
# Lines of a list shown at a time.
SHOWN = 8
NO_SITE = (
    "No site had a condensate or blockage fault in the last 365 days on record, for these filters. Widen them; or have the "
    "cause of every draft fault recorded, since the cause tells which kind it was."
)
NO_PART = (
    "No part is on record for such a fault in the last 365 days on record, for these filters. Widen them, or have the table "
    "part_lines loaded: it tells what such visits used."
)
NO_FROST = (
    "No weather with freezing nights is on record, so no first frost can be told. Have the table weather_days loaded, and the "
    "weather station of each site in the table sites."
)
NOT_A_STOCK = (
    "What such visits used, not a forecast. A draft switch is carried to be fitted only where the old one is shown "
    "faulty, and it is the specified part."
)
STATION = "First freezing night of each heating season, at the weather station most sites of the region name."
Columns = tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class Lines(Sequence[tuple[str, ...]]):
    """The rows of a frame as lines of text, each made only when it is asked for."""

    frame: pd.DataFrame
    line: Callable[[Any], tuple[str, ...]]

    def __len__(self) -> int:
        return len(self.frame)

    def __getitem__(self, place: Any) -> Any:
        if isinstance(place, slice):
            return [self.line(row) for row in self.frame.iloc[place].itertuples(index=False)]
        return self[place : place + 1][0]


def show(scope: Scope) -> None:
    """The three lists, over the filters in force; the safety block stands above them."""
    _sites(season_lookups.sites_to_check(scope))
    _parts(season_lookups.parts_used(scope))
    _frosts(season_lookups.first_frosts(store_access.settings().season_starts_month, scope.region))


def part_lines(used: pd.DataFrame) -> tuple[Columns, Lines]:
    """used: season_lookups.parts_used."""

    def line(row: Any) -> tuple[str, ...]:
        fitted = (words.count(0 if words.is_missing(n) else n) for n in (row.n_condensate, row.n_blockage))
        return words.label(row.part_class), row.part_number, *fitted, _per_hundred(row.quantity / row.n_faults)

    columns = (
        ("Part", "text"), ("Number", "text"), ("Fitted, condensate", "number"), ("Fitted, blockage", "number"),
        ("per 100 such faults", "number"),
    )  # fmt: skip
    return columns, Lines(used, line)


def parts_rest_on(used: pd.DataFrame) -> str:
    """On how many faults the parts are counted; blank without a part."""
    if used.empty:
        return ""
    return f"Fitted at {words.plural(used['n_faults'].iloc[0], 'fault')} of the last 365 days on record"


def frost_lines(frosts: pd.DataFrame) -> tuple[Columns, Lines]:
    """frosts: season_lookups.first_frosts."""

    def line(row: Any) -> tuple[str, ...]:
        days = (_day(row.earliest_on), _day(row.latest_on), words.date(row.newest_on))
        return "" if words.is_missing(row.region) else row.region, words.count(row.n_seasons), *days

    columns = (
        ("Region", "text"), ("Seasons on record", "number"), ("Earliest", "text"), ("Latest", "text"), ("Newest", "text"),
    )  # fmt: skip
    return columns, Lines(frosts, line)


def why(row: Any) -> str:
    """Why a site is to be checked: 2 condensate and 1 blockage fault; 4 draft faults in all."""
    kinds = [
        f"{words.count(n)} {kind}" for kind, n in (("condensate", row.n_condensate), ("blockage", row.n_blockage)) if n
    ]
    last = row.n_blockage or row.n_condensate
    return f"{words.joined(kinds)} fault{'' if last == 1 else 's'}; {words.plural(row.n_draft_faults, 'draft fault')} in all"


def site_lines(sites: pd.DataFrame) -> tuple[Columns, Lines]:
    """sites: season_lookups.sites_to_check."""
    unit, per, digits = draft_unit(store_access.draft_unit())

    def line(row: Any) -> tuple[str, ...]:
        is_read = not words.is_missing(row.margin_pa)
        margin = words.number(row.margin_pa / per, digits) if is_read else words.NOT_KNOWN
        read_on = words.date(row.read_on) if is_read else ""
        return (
            row.site_id,
            "" if words.is_missing(row.region) else row.region,
            why(row),
            words.date(row.last_on),
            margin,
            read_on,
        )

    columns = (
        ("Site", "text"), ("Region", "text"), ("Why", "text"), ("Last such fault", "text"),
        (f"Last draft margin, {unit}", "number"), ("Read on", "text"),
    )  # fmt: skip
    return columns, Lines(sites, line)


def _sites(sites: pd.DataFrame) -> None:
    st.header(SITES)
    if not sites.empty:
        n = words.plural(len(sites), "site")
        st.markdown(f"{n} had a condensate or blockage fault in the last 365 days on record.")
    columns, lines = site_lines(sites)
    unit, per, digits = draft_unit(store_access.draft_unit())

    def export() -> pd.DataFrame:
        margin = (sites["margin_pa"].astype(float) / per).round(digits)
        titles = {
            "site_id": "Site", "region": "Region", "n_condensate": "Condensate", "n_blockage": "Blockage",
            "n_draft_faults": "Draft faults in all", "last_on": "Last such fault",
            "margin_pa": f"Last draft margin, {unit}", "read_on": "Read on",
        }  # fmt: skip
        return sites.assign(margin_pa=margin)[[*titles]].rename(columns=titles)

    long_list.show(columns, lines, "season_sites", NO_SITE, "most such faults first", SHOWN, export)


def _parts(used: pd.DataFrame) -> None:
    st.header(PARTS)
    columns, lines = part_lines(used)
    if not used.empty:
        st.markdown(f"{parts_rest_on(used)}.")
    long_list.show(columns, lines, "season_parts", NO_PART, "most used first", SHOWN)
    if not used.empty:
        st.caption(NOT_A_STOCK)


def _frosts(frosts: pd.DataFrame) -> None:
    st.header(FROSTS)
    columns, lines = frost_lines(frosts)
    titles = dict(zip(frosts.columns, (title for title, _ in columns), strict=True))
    long_list.show(columns, lines, "season_frosts", NO_FROST, "by region", SHOWN, lambda: frosts.rename(columns=titles))
    if not frosts.empty:
        st.caption(STATION)


def _per_hundred(share: float) -> str:
    """Few are not none."""
    return "under 1" if 0 < share <= 0.005 else words.number(100 * share, 0)


def _day(value: Any) -> str:
    day = pd.Timestamp(value)
    return f"{day.day} {words.MONTHS[day.month - 1]}"
