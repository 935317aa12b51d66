"""What the page Seasons and its pack ask of the facts: sites that had such a fault, first frosts, parts the visits used."""

from __future__ import annotations

import pandas as pd

from dashboard import roles, store_access
from models.figures.scope import Scope

# Everything is counted back from the last day with a visit.
_YEAR_BACK = "(SELECT max(arrived_on) FROM visit) - 365"
_FAULTS = f"""
    SELECT f.draft_fault_id AS visit_id, f.site_id, f.region, f.branch, f.appliance_kind, f.appliance_key, f.arrived_on,
        f.arrived_at, coalesce(k.family, o.family) AS family, coalesce(r.has_root_cause, false) AS has_root_cause
    FROM draft_fault AS f LEFT JOIN root_cause AS r USING (draft_fault_id)
    LEFT JOIN cause AS k ON k.cause_code = r.cause_code LEFT JOIN cause AS o ON o.cause_code = r.contributing_cause_code
    WHERE f.arrived_on > {_YEAR_BACK}"""


def sites_to_check(scope: Scope) -> pd.DataFrame:
    """Sites with a condensate or blockage fault in the last 365 days on record, those with most of them first.

    site_id, region, n_condensate, n_blockage, n_draft_faults (of any family), last_on, and the newest draft margin of these
    draft faults with its day: margin_pa, read_on. Appliances taken out do not count.
    """
    roles.require_page("seasons")
    where, bound = scope.where("arrived_on", prefix="f.")
    return store_access.frame(
        f"""
        SELECT f.site_id, any_value(f.region) AS region, count(*) FILTER (family = 'condensate') AS n_condensate,
            count(*) FILTER (family = 'blockage') AS n_blockage, count(*) AS n_draft_faults,
            max(arrived_on) FILTER (family IN ('condensate', 'blockage')) AS last_on,
            max_by(e.margin_pa, (f.arrived_at, f.visit_id)) AS margin_pa,
            max(arrived_on) FILTER (e.margin_pa IS NOT NULL) AS read_on
        FROM ({_FAULTS}) AS f LEFT JOIN appliance AS a ON a.appliance_id = f.appliance_key
        LEFT JOIN field_evidence AS e ON e.draft_fault_id = f.visit_id
        WHERE {where} AND NOT coalesce(a.removed_on >= f.arrived_on, false)
        GROUP BY f.site_id HAVING n_condensate + n_blockage > 0
        ORDER BY n_condensate + n_blockage DESC, n_draft_faults DESC, last_on DESC, f.site_id
        """,
        bound,
    )


def first_frosts(season_starts_month: int, region: str | None = None) -> pd.DataFrame:
    """First freezing night of each heating season on record, by region: region, n_seasons, earliest_on,
    latest_on (earliest and latest within a season), newest_on. region: this one only.

    Of the station most sites of the region name. A season counts only where 40 days or more before are on record.
    """
    roles.require_page("seasons")
    return store_access.frame(
        """
        WITH station AS (
            SELECT region, weather_station_id FROM delivered.sites
            WHERE weather_station_id IS NOT NULL AND (?::VARCHAR IS NULL OR region = ?) GROUP BY region, weather_station_id
            QUALIFY row_number() OVER (PARTITION BY region ORDER BY count(*) DESC, weather_station_id) = 1),
        day AS (
            SELECT s.region, w.day_on, w.is_freezing_night,
                year(w.day_on - to_months(CAST(? AS INTEGER) - 1)) AS season
            FROM station AS s JOIN weather_day AS w USING (weather_station_id)),
        first AS (
            SELECT region, season, min(day_on) FILTER (is_freezing_night) AS first_on, min(day_on) AS begins_on
            FROM day GROUP BY region, season)
        SELECT region, count(*) AS n_seasons, arg_min(first_on, first_on - make_date(season, 1, 1)) AS earliest_on,
            arg_max(first_on, first_on - make_date(season, 1, 1)) AS latest_on, max(first_on) AS newest_on
        FROM first WHERE first_on - begins_on >= 40 GROUP BY region ORDER BY region
        """,
        [region, region, season_starts_month],
    )


def parts_used(scope: Scope) -> pd.DataFrame:
    """Parts fitted on condensate and blockage visits of the last 365 days on record.

    part_class, part_number, n_condensate, n_blockage, quantity, n_faults (visits all of it is counted on).
    """
    roles.require_page("seasons")
    where, bound = scope.where("arrived_on")
    return store_access.frame(
        f"""
        WITH fault AS (SELECT * FROM ({_FAULTS}) WHERE family IN ('condensate', 'blockage') AND {where})
        SELECT p.part_class, p.part_number, sum(p.quantity) FILTER (f.family = 'condensate') AS n_condensate,
            sum(p.quantity) FILTER (f.family = 'blockage') AS n_blockage, sum(p.quantity) AS quantity,
            (SELECT count(*) FROM fault) AS n_faults
        FROM fault AS f JOIN part_line AS p USING (visit_id)
        WHERE coalesce(p.line_status, 'fitted') = 'fitted' AND p.quantity > 0
        GROUP BY p.part_class, p.part_number ORDER BY quantity DESC, p.part_class, p.part_number
        """,
        bound,
    )
