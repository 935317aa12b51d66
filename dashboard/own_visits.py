"""Whose a visit is: of who led it, and of who diagnosed a switch that was fitted on it, often by a colleague days later."""

from __future__ import annotations

from typing import Any

from dashboard import roles, store_access

# A condition on a relation with visit_id and technician_id; bound with `bound`. None stands for everybody.
THEIRS = """(?::VARCHAR IS NULL OR technician_id = ?
    OR visit_id IN (SELECT swap.visit_id FROM swap WHERE swap.diagnosed_by = ?))"""


def bound(technician_id: str | None) -> list[Any]:
    """The values for the question marks of THEIRS."""
    return [technician_id] * 3


def bound_for_reader() -> list[Any]:
    """The same for who reads: a technician sees their own visits; anybody else, every visit."""
    return bound(roles.require_somebody().technician_id)


def is_theirs(visit_id: str, technician_id: str) -> bool:
    """Whether the visit is on record and this technician's."""
    return bool(
        store_access.row(
            f"SELECT true AS one FROM visit WHERE visit_id = ? AND {THEIRS}", [visit_id, *bound(technician_id)]
        )
    )


def require(visit_id: str) -> None:
    """Raises NotAllowed where the reader is a technician and the visit is not their own."""
    own = roles.require_somebody().technician_id
    if own is not None and not is_theirs(visit_id, own):
        raise roles.NotAllowed("Only your own visits are open to you.")
