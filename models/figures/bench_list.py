"""The bench list: which removed switches to test next."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

import duckdb
import numpy as np
import pandas as pd

from models.methods.double_sampling import MINIMUM_TESTING_RATE
from models.methods.numeral import numeral
from models.methods.probability_sampling import inclusion_probabilities, systematic_draw

COLUMNS = (
    "removed_tag", "visit_id", "selection", "selection_probability", "swapped_on", "test_by", "site_id", "technician_id",
    "part_number", "evidence", "tier",
)  # fmt: skip
# Why a switch is not drawn, the first that holds; with how the pool tells of it: of {first} and {since} it names the day.
REASONS = {
    "tested already": "tested already",
    "has a test entered that the figures do not include": "with a test entered that the figures do not include",
    "stands in a list that is kept": "drawn already, in a list that is kept",
    "removed too long ago: a test could no longer find it good": "too old, removed before {first}",
    "has no tag": "without a tag",
    "several switches bear this tag": "with a tag that several switches bear",
    "was in the draw before": "removed by the day of the draw before, {since}",
}
TESTED, ENTERED, DRAWN, TOO_OLD, NO_TAG, SEVERAL, BEFORE = REASONS
_SORTED = """
WITH sorted AS (SELECT s.swap_id, s.removed_tag, s.visit_id, s.swapped_on,
    CAST(s.swapped_on + to_days(CAST($days AS INTEGER)) AS DATE) AS test_by, s.site_id,
    s.diagnosed_by AS technician_id, s.part_number, coalesce(s.evidence, 'no_reading') AS evidence,
    coalesce(s.tier_at_close, 'none') AS tier,
    CASE WHEN s.verdict IS NOT NULL THEN $tested
        WHEN list_contains(CAST($entered AS VARCHAR[]), s.removed_tag) THEN $has_entry
        WHEN list_contains(CAST($kept AS VARCHAR[]), s.removed_tag) THEN $drawn
        WHEN s.swapped_on + to_days(CAST($days AS INTEGER)) <= $day THEN $too_old
        WHEN s.removed_tag IS NULL THEN $no_tag
        WHEN count(*) OVER (PARTITION BY s.removed_tag) > 1 THEN $several
        WHEN s.swapped_on <= $since THEN $before
    END AS reason
FROM swap_case s WHERE s.swapped_on <= $day)
"""


@dataclass(frozen=True)
class BenchList:
    """list: DataFrame[COLUMNS], the drawn first, each part by removed_tag; selection 'random' with its probability or
    'chosen' without; test_by: last day on which a test can still find the switch good. n_eligible: switches the draw was
    from. as_of, seed: what gives the same list again. refused: picks that are not eligible, with the reason.
    left_out: why -> how many switches removed by that day were not drawn from, in the order of REASONS; with n_eligible
    they add up to all on record. sentence: in words. pool: what was drawn from and what was left out, in words.
    """

    list: pd.DataFrame
    n_eligible: int
    as_of: date | None
    seed: int
    refused: dict[str, str]
    left_out: dict[str, int]
    sentence: str
    pool: str


def bench_list(
    con: duckdb.DuckDBPyConnection,
    settings: Any,
    n_drawn: int = 20,
    seed: int = 1,
    as_of: date | None = None,
    picks: Sequence[str] = (),
    since: date | None = None,
    drawn: Collection[str] = (),
    entered: Collection[str] = (),
) -> BenchList:
    """Draw the switches to test next.

    n_drawn: how many at random; all if there are fewer. seed: same store, same seed, same list. as_of: the day of the
    draw, None = the last day with a visit. picks: tags that the trainer wants tested; one that is not drawn is added
    and marked chosen.
    since: the day of the draw before this one; only switches removed after it enter. A switch that enters two draws has
    a larger chance than the one on record, and the rate from draws leans; None = nothing was drawn before.
    drawn: tags of every list kept and in force, never drawn again, for the same reason. entered: tags of the tests that
    were entered and may not be in the records yet.
    Eligible: removed by `as_of` and after `since`, neither tested nor drawn yet, with a tag of its own, and young enough
    that a test on the next day may still find it good (settings.maximum_days_to_bench). Strata: technician who diagnosed,
    field evidence, root-cause tier at closing; a stratum of N switches gets a share of the draw that grows as the square
    root of N, so that small ones are heard. The picks do not enter the draw: it stays a fair one of all eligible switches,
    which is what the Horvitz-Thompson form of the good-switch rate needs.
    Raises ValueError on a negative number.
    """
    if n_drawn < 0:
        raise ValueError(f"n_drawn: got {n_drawn}; must be 0 or more.")
    day = as_of or con.execute("SELECT max(arrived_on) FROM visit").fetchone()[0]  # type: ignore[index]
    wanted = list(dict.fromkeys(picks))
    swaps, left_out = _sorted_swaps(con, settings, day, wanted, since, drawn, entered)
    eligible = swaps[swaps["reason"].isna()].reset_index(drop=True)
    n = min(n_drawn, len(eligible))
    stratum = eligible["technician_id"].fillna("") + "\t" + eligible["evidence"] + "\t" + eligible["tier"]
    chance = inclusion_probabilities(stratum.to_numpy(str), n)
    is_drawn = systematic_draw(chance, stratum.to_numpy(str), np.random.default_rng(seed))
    eligible["selection_probability"] = chance
    random = eligible[is_drawn].assign(selection="random")
    chosen = eligible[~is_drawn & eligible["removed_tag"].isin(wanted).to_numpy(bool)].assign(
        selection="chosen", selection_probability=np.nan
    )
    refused = _refused(wanted, swaps)
    table = pd.concat([random.sort_values("removed_tag"), chosen.sort_values("removed_tag")], ignore_index=True)
    n_removed = len(eligible) + sum(left_out.values())
    words = _sentence(n, n_drawn, n_removed, len(eligible), len(chosen), chance, day, seed, since)
    pool = _pool(len(eligible), left_out, int(settings.maximum_days_to_bench), day, since)
    return BenchList(table[list(COLUMNS)], len(eligible), day, seed, refused, left_out, words, pool)


def _sorted_swaps(
    con: duckdb.DuckDBPyConnection, settings: Any, day: date | None, wanted: list[str], since: date | None,
    drawn: Collection[str], entered: Collection[str],
) -> tuple[pd.DataFrame, dict[str, int]]:  # fmt: skip
    """Swaps up to the day that can be on the list (reason NULL), and those of the wanted tags with why they cannot,
    ordered by swap_id; and how many cannot, by reason."""
    bound = {
        "days": int(settings.maximum_days_to_bench), "day": day, "since": since, "kept": sorted(drawn),
        "entered": sorted(entered), "tested": TESTED, "has_entry": ENTERED, "drawn": DRAWN, "too_old": TOO_OLD, "no_tag": NO_TAG,
        "several": SEVERAL, "before": BEFORE,
    }  # fmt: skip
    swaps = con.execute(
        f"{_SORTED} FROM sorted WHERE reason IS NULL OR list_contains(CAST($wanted AS VARCHAR[]), removed_tag) ORDER BY swap_id",
        {**bound, "wanted": wanted},
    ).df()
    counted = con.execute(f"{_SORTED} SELECT reason, count(*) FROM sorted WHERE reason IS NOT NULL GROUP BY 1", bound)
    found = dict(counted.fetchall())
    return swaps, {reason: found[reason] for reason in REASONS if reason in found}


def _pool(n_eligible: int, left_out: dict[str, int], days: int, day: date | None, since: date | None) -> str:
    """What was drawn from, and how many removed switches on record were left out for which reason."""
    n_removed = n_eligible + sum(left_out.values())
    if day is None or not n_removed:
        return ""
    first = day - timedelta(days=days - 1)
    start = max(first, since + timedelta(days=1)) if since else first
    words = (
        f"Drawn from: switches removed from {start} to {day} that bear a tag of their own and were neither tested nor drawn yet."
        if start <= day
        else f"There is nothing to draw from yet: no switch removed after the draw before, {since}, can be on record by {day}."
    )
    words += (
        f" A test later than {days} days after removal can no longer find a switch good. Of {numeral(n_removed)} removed by {day}, "
        f"{numeral(n_eligible)} could be drawn"
    )
    if not left_out:
        return f"{words}; none was left out."
    said = (f"{numeral(n)} {REASONS[reason].format(first=first, since=since)}" for reason, n in left_out.items())
    return f"{words}; left out: {numeral(n_removed - n_eligible)} ({'; '.join(said)})."


def _refused(wanted: list[str], swaps: pd.DataFrame) -> dict[str, str]:
    reasons = swaps.drop_duplicates("removed_tag").set_index("removed_tag")["reason"].to_dict()
    out = {tag: reasons.get(tag, "no switch removed by that day bears this tag") for tag in wanted}
    return {tag: str(reason) for tag, reason in out.items() if isinstance(reason, str)}


def _sentence(
    n: int, asked: int, n_swaps: int, n_eligible: int, n_chosen: int, chance: np.ndarray, day: date | None, seed: int,
    since: date | None,
) -> str:  # fmt: skip
    if not n_eligible and not n_swaps:
        return "No removed switch is on record up to that day, so there is nothing to draw from."
    if not n_eligible:
        return (
            "No removed switch can be drawn now: each is tested or drawn already, without a tag of its own, in the draw before, or was "
            "removed too long ago."
        )
    words = f"{n} of {n_eligible} removed switches drawn at random, as of {day}, seed {seed}"
    words += f", of those removed after the draw of {since}" if since else ""
    words += f"; {n_chosen} chosen besides." if n_chosen else "."
    if n < asked:
        words += f" {asked} were asked for; there are no more."
    if n and chance.min() < MINIMUM_TESTING_RATE:
        words += (
            f" The smallest chance is {numeral(chance.min(), '.1%')}, under the {MINIMUM_TESTING_RATE:.0%} that the rate from draws "
            "needs: draw more."
        )
    return words
