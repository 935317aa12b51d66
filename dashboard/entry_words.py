"""What an entry of the own work says, in a line: the same on the page Corrections and in the command's list."""

from __future__ import annotations

from dashboard import words
from pipelines.contract.codes import CAUSES
from pipelines.own_work import Entry

FIELDS = {
    "cause_code": "Cause",
    "callback_class": "What the visit after it was",
    "link": "Which visit it follows",
    "owner": "Who owns the job",
    "part_class": "Kind of part",
    "bench_result": "Bench result",
}
# Of a row that was mended or dismissed: the longest cell shown, and how many of its cells.
_LONGEST, _CELLS = 40, 4


def what(entry: Entry) -> str:
    """What was entered, without who and why."""
    said = entry.content
    stored = said.get("stored", {})
    if entry.kind == "correction":
        return f"{FIELDS[stored['corrected_field']]}: {value(stored['new_value'])}"
    if entry.kind == "bench_test":
        n = sum(stored.get(f"make_{turn}_pa") is not None for turn in (1, 2, 3))
        return words.plural(n, "make reading")
    if entry.kind == "coaching_session":
        topic = f", {words.label(stored['topic'])}" if stored["topic"] else ""
        return f"held on {stored['held_on']} by {stored['coach_id']}{topic}"
    if entry.kind == "bench_draw":
        return words.plural(len(said["list"]), "switch", "switches")
    if entry.kind == "identity":
        site = f" at site {said['site_id']}" if said.get("site_id") else ""
        return (
            f"{said['subject']} {said['keep']} {'=' if said['decision'] == 'same' else 'is not'} {said['other']}{site}"
        )
    if entry.kind == "mended_row":
        return f"{said['table']}: {_changes(said['was'], said['row'])}"
    if entry.kind == "dismissed_row":
        return (
            f"{said['table']}: {', '.join(_shown(cell) for cell in list(filter(None, said['was'].values()))[:_CELLS])}"
        )
    if entry.kind == "remark":
        return f"{said['beside']}: {' '.join(said['text'].split())}"
    return ""


def value(code: str) -> str:
    """A corrected value in words."""
    known = {cause.code: cause.about for cause in CAUSES}
    return known.get(code, code.replace("_", " "))


def _changes(was: dict[str, str], row: dict[str, str]) -> str:
    """Which cells were changed; of a row that could not be taken apart, what it holds now."""
    changed = [
        f"{name} “{_shown(was.get(name, ''))}” → “{_shown(cell)}”"
        for name, cell in row.items()
        if cell != was.get(name, "")
    ]
    return ", ".join(changed)


def _shown(cell: str) -> str:
    flat = " ".join(cell.split())
    return flat if len(flat) <= _LONGEST else f"{flat[: _LONGEST - 1]}…"
