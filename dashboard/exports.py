"""Tables as files. No cell leaves in a form that a spreadsheet would run."""

from __future__ import annotations

import pandas as pd

from dashboard.words import formula_safe


def csv_bytes(frame: pd.DataFrame) -> bytes:
    """The frame as CSV, UTF-8 with a byte-order mark so that spreadsheets read it rightly; formula-safe."""
    safe = frame.rename(columns=formula_safe)
    for name in safe.columns:
        if safe[name].dtype == object or pd.api.types.is_string_dtype(safe[name]):
            safe[name] = safe[name].map(formula_safe, na_action="ignore")
    return safe.to_csv(index=False, lineterminator="\r\n").encode("utf-8-sig")
