"""Which switch a warranty claim is about: the one of its visit with its tag; without a tag, any taken out on the visit."""

from __future__ import annotations

# Of a claim w and a swap s of the claim's visit.
CLAIMED = "(w.removed_tag IS NULL OR s.removed_tag = w.removed_tag)"


def shared(column: str) -> str:
    """The one value of the switches a claim can be about; nothing where they differ, or one of them has none."""
    return (
        f"CASE WHEN count(s.swap_id) FILTER ({CLAIMED}) = count(s.{column}) FILTER ({CLAIMED}) "
        f"AND count(DISTINCT s.{column}) FILTER ({CLAIMED}) = 1 "
        f"THEN any_value(s.{column}) FILTER ({CLAIMED}) END AS {column}"
    )


def n_claimed() -> str:
    """How many switches the claim can be about."""
    return f"count(s.swap_id) FILTER ({CLAIMED})"
