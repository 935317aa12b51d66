"""Who answered to what is said about them: told where a person is first named, so that no answer is overlooked."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping, Sequence

from dashboard import roles, same_person, store_access, words
from pipelines import remarks as kept_remarks
from pipelines.own_work import OwnWork
from pipelines.remarks import Remark

# Days within which a remark is a new one.
NEW_DAYS = 14


def by_technician() -> dict[str, list[Remark]]:
    """The remarks in force on every sheet, oldest first, by the technician who stands for all their ids.

    Raises NotAllowed for whoever may not see the sheets.
    """
    roles.require_page("coaching")
    found: dict[str, list[Remark]] = {}
    for one in kept_remarks.remarks_of(OwnWork(store_access.home())):
        found.setdefault(same_person.kept_id(one.technician_id), []).append(one)
    return found


def told(said: Sequence[Remark]) -> str:
    """The day of the newest remark and how many there are; blank where there is none."""
    if not said:
        return ""
    return f"{words.date(max(map(_day, said)))} ({words.count(len(said))})"


def lately(found: Mapping[str, Sequence[Remark]], name_of: Callable[[object], str], today: dt.date) -> str:
    """How many remarks came in the last days, and by whom, in the order of the names. today: in UTC, as remarks are dated."""
    since = today - dt.timedelta(days=NEW_DAYS)
    parts = []
    for one, said in found.items():
        new = [remark for remark in said if _day(remark) >= since]
        if new:
            n_for_them = sum(remark.is_on_behalf for remark in new)
            for_them = f", {words.count(n_for_them)} on their behalf" if n_for_them else ""
            parts.append((f"{name_of(one)} ({words.count(len(new))}{for_them})", len(new)))
    if not parts:
        return f"Nobody answered in the last {NEW_DAYS} days."
    n = sum(count for _, count in parts)
    by = words.joined([name for name, _ in sorted(parts)])
    return f"{words.plural(n, 'remark')} in the last {NEW_DAYS} days, by {by}. Each stands on that technician's sheet."


def _day(remark: Remark) -> dt.date:
    return dt.date.fromisoformat(remark.entered_at[:10])
