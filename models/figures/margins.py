"""Draft margins over time: where the draft shrinks towards the make point."""

from __future__ import annotations

import duckdb
import numpy as np
import pandas as pd

from models.figures.scope import Scope
from models.methods.false_discovery import benjamini_hochberg
from models.methods.trend import kendall, theil_sen

FEWEST_MARGINS = 4
COLUMNS = (
    "site_id", "margin_slope_pa_per_year", "margin_slope_low", "margin_slope_high", "margin_p_value", "n_margins",
    "is_margin_flagged",
)  # fmt: skip


def margin_trends(con: duckdb.DuckDBPyConnection, scope: Scope, limit: float) -> pd.DataFrame:
    """The steepest falling draft margin of each site, over appliances with at least 4 readings on different days.

    Margin: draft before the repair less the make point, in pascal; of several draft faults on one day the median counts
    once. Slope: Theil-Sen per year with Sen's interval; p-value: one-sided Kendall, exact also where readings tie.
    Flagged by Benjamini-Hochberg at `limit` over all appliances that were tried. Returns DataFrame[COLUMNS], falling
    ones only.
    """
    condition, values = scope.where("arrived_on", prefix="f.")
    tried = con.execute(
        f"""
        WITH daily AS (
            SELECT f.site_id, f.appliance_key, f.arrived_on, median(e.margin_pa) AS margin_pa
            FROM field_evidence e JOIN draft_fault f USING (draft_fault_id)
            WHERE e.margin_pa IS NOT NULL AND f.appliance_key IS NOT NULL AND {condition}
            GROUP BY f.site_id, f.appliance_key, f.arrived_on)
        SELECT site_id, appliance_key, list(arrived_on - DATE '2000-01-01' ORDER BY arrived_on) AS day,
            list(margin_pa ORDER BY arrived_on) AS margin, regr_slope(margin_pa, epoch(arrived_on)) AS slope
        FROM daily GROUP BY site_id, appliance_key HAVING count(*) >= ? ORDER BY site_id, appliance_key""",
        [*values, FEWEST_MARGINS],
    ).df()
    rows = []
    p_values = np.ones(len(tried))
    # Rising margins cannot be falling ones: they count among those tried, with a p-value of 1.
    for i in np.flatnonzero(tried["slope"].to_numpy(float) < 0):
        row = tried.iloc[i]
        years, margin = np.asarray(row["day"], dtype=float) / 365.25, np.asarray(row["margin"], dtype=float)
        slope = theil_sen(years, margin, minimum_points=FEWEST_MARGINS)
        p_values[i] = kendall(years, margin, "less")[1]
        if slope.value is not None and slope.value < 0:
            rows.append((row["site_id"], slope.value, slope.low, slope.high, p_values[i], margin.size, i))
    flagged = benjamini_hochberg(p_values, limit)
    out = pd.DataFrame(rows, columns=[*COLUMNS[:-1], "i"])
    out["is_margin_flagged"] = flagged[out.pop("i").to_numpy(int)] if len(out) else pd.Series(dtype=bool)
    out = out.sort_values(["site_id", "margin_p_value", "margin_slope_pa_per_year"], kind="stable")
    return out.drop_duplicates("site_id").reset_index(drop=True)
