-- one row per draft fault attended: a job on one appliance up to its completion
-- kept as: table by site
-- Complete: when it was last declared complete. Where no visit says whether it was, the job counts as closed when the last
-- visit left, unless that one waited for a part; is_closed tells whether it is closed at all. A departure before the
-- arrival or more than a day after it is an error of the record: the arrival stands in for it.
WITH gathered AS (
    SELECT draft_fault_id, count(*) AS n_visits, any_value(appliance_key) AS appliance_key,
        bool_or(is_appliance_proven) AS is_appliance_proven, bool_or(is_draft_symptom) AS is_by_symptom,
        bool_or(is_closing) AS is_declared_complete, bool_or(is_closing_known) AS is_closing_known,
        max_by(visit_id, visit_no) FILTER (WHERE is_closing) AS closing_visit_id,
        max_by(visit_id, visit_no) AS last_visit_id, max_by(waits_for_part, visit_no) AS waits_for_part
    FROM draft_visit GROUP BY draft_fault_id
),
swapped AS (
    SELECT d.draft_fault_id, count(DISTINCT (l.visit_id, l.removed_tag)) AS n_swaps
    FROM switch_line AS l JOIN draft_visit AS d USING (visit_id)
    WHERE l.excluded_because IS NULL GROUP BY d.draft_fault_id
),
owned AS (
    SELECT d.draft_fault_id, max_by(c.new_value, (c.corrected_at, d.visit_no)) AS technician_id
    FROM correction AS c JOIN draft_visit AS d USING (visit_id)
    WHERE c.corrected_field = 'owner' GROUP BY d.draft_fault_id
)
SELECT g.draft_fault_id, v.job_id, v.site_id, g.appliance_key, g.is_appliance_proven, v.technician_id, v.branch, v.region,
    v.weather_station_id, v.arrived_at, v.arrived_on, v.week_on, v.season, CAST(month(v.arrived_on) AS INTEGER) AS month,
    v.symptom, v.is_after_hours, a.appliance_kind, a.is_condensing, a.removed_on AS appliance_removed_on,
    CASE WHEN v.arrived_on >= a.installed_on THEN (v.arrived_on - a.installed_on) / 365.25 END AS appliance_age_years,
    g.is_by_symptom, g.n_visits, coalesce(s.n_swaps, 0) AS n_swaps, coalesce(s.n_swaps, 0) > 0 AS has_swap,
    CASE WHEN done.left_at BETWEEN done.arrived_at AND done.arrived_at + INTERVAL 1 DAY THEN done.left_at
        ELSE done.arrived_at END AS completed_at,
    done.visit_id AS completing_visit_id, done.arrived_at AS completing_arrived_at,
    coalesce(owned.technician_id, done.technician_id) AS owner_id,
    g.waits_for_part, g.is_declared_complete, g.is_declared_complete OR (NOT g.is_closing_known AND NOT g.waits_for_part) AS is_closed
FROM gathered AS g
JOIN draft_visit AS v ON v.visit_id = g.draft_fault_id
JOIN draft_visit AS done ON done.visit_id = coalesce(g.closing_visit_id, g.last_visit_id)
LEFT JOIN delivered.appliances AS a ON a.appliance_id = g.appliance_key AND a.site_id = v.site_id
LEFT JOIN swapped AS s ON s.draft_fault_id = g.draft_fault_id
LEFT JOIN owned ON owned.draft_fault_id = g.draft_fault_id
