"""Remarks of technicians on what is said about them: kept beside a figure or a visit, and never part of a figure."""

from __future__ import annotations

from dataclasses import dataclass

from pipelines.own_work import Entry, OwnWork, OwnWorkError

KIND = "remark"
LONGEST_REMARK = 1_000
# So that a sheet stays readable, and nobody fills the file by holding a key down.
MOST_REMARKS = 200
TAKEN_BACK = "taken back by whoever made it"


@dataclass(frozen=True)
class Remark:
    """beside: the figure or visit it stands beside. entered_at: ISO 8601, UTC. is_on_behalf: entered by somebody else."""

    entry_id: str
    technician_id: str
    beside: str
    text: str
    entered_by: str
    entered_at: str
    is_on_behalf: bool


def enter_remark(
    own: OwnWork, technician_id: str, beside: str, text: str, entered_by: str, is_on_behalf: bool, entry_id: str
) -> bool:
    """Keep a remark on one technician's sheet; False when it was there already (sent twice).

    entry_id: given when the form is opened. Raises OwnWorkError when it is blank, too long, one too many, or cannot be kept.
    """
    if not text.strip():
        raise OwnWorkError("The remark is blank; write what there is to say. Nothing was entered.")
    if len(text) > LONGEST_REMARK:
        raise OwnWorkError(
            f"The remark has {len(text):,} characters; at most {LONGEST_REMARK:,} are allowed. Nothing was entered."
        )
    there = remarks_of(own, technician_id)
    if len(there) >= MOST_REMARKS and all(one.entry_id != entry_id for one in there):
        raise OwnWorkError(f"There are {len(there)} remarks on this sheet, no more are taken. Take one back first.")
    content = {"beside": beside, "text": text.strip(), "is_on_behalf": is_on_behalf}
    return own.add([Entry(KIND, technician_id, content, entered_by, "", entry_id)]) == 1


def remarks_of(own: OwnWork, technician_id: str | None = None) -> list[Remark]:
    """The remarks in force on one technician's sheet, or on all of them, oldest first."""
    return [
        Remark(
            kept.entry.entry_id,
            kept.entry.about,
            str(kept.entry.content["beside"]),
            str(kept.entry.content["text"]),
            kept.entry.entered_by,
            kept.entry.entered_at,
            bool(kept.entry.content["is_on_behalf"]),
        )
        for kept in own.entries(KIND, about=technician_id)
        if kept.is_in_force
    ]


def take_back(own: OwnWork, entry_id: str, entered_by: str) -> bool:
    """Take a remark back; both stay on record. Raises OwnWorkError where somebody else made it."""
    return own.undo(entry_id, TAKEN_BACK, entered_by)
