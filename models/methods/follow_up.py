"""Follow-up times: what is allowed in."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray


def check_follow_up(durations: ArrayLike, is_event: ArrayLike) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
    """The two arrays, flat; ValueError if they differ in length or a duration is missing or negative."""
    time = np.asarray(durations, dtype=float).ravel()
    event = np.asarray(is_event, dtype=bool).ravel()
    if time.shape != event.shape:
        raise ValueError(f"durations and is_event: got {time.size} and {event.size} values; must be as many.")
    bad = ~(np.isfinite(time) & (time >= 0))
    if bad.any():
        i = int(np.argmax(bad))
        raise ValueError(
            f"durations at position {i}: got {time[i]:g}; must be 0 or more. Leave out cases without follow-up."
        )
    return time, event
