-- one row per visit that belongs to a draft fault
-- kept as: table by site
-- A draft fault is attended where a draft symptom is recorded, a draft switch was swapped, or, on a visit that was not
-- planned, a cause of a draft fault was recorded. Visits of one job to one appliance belong together; after the job was
-- declared complete, an unplanned visit on the same job begins a new draft fault; planned visits and returns that say
-- nothing about completion leave it as it was.
WITH swapped AS (
    SELECT DISTINCT visit_id FROM switch_line WHERE excluded_because IS NULL
),
sign AS (
    SELECT v.visit_id, v.site_id, v.job_id, s.visit_id IS NOT NULL AS has_swap
    FROM visit AS v LEFT JOIN swapped AS s USING (visit_id)
    WHERE v.is_draft_symptom OR s.visit_id IS NOT NULL
        OR (v.cause_group <> 'none_found' AND NOT is_planned_kind(v.visit_kind))
),
job AS (SELECT DISTINCT site_id, job_id FROM sign),
member AS MATERIALIZED (
    SELECT v.*, is_planned_kind(v.visit_kind) AS is_planned, v.visit_kind = 'return_for_part' AS is_return,
        coalesce(v.is_declared_complete, false) AND NOT coalesce(v.waits_for_part, false) AS is_closing,
        sign.visit_id IS NOT NULL AS is_sign, coalesce(sign.has_swap, false) AS has_swap
    FROM visit AS v SEMI JOIN job USING (site_id, job_id) LEFT JOIN sign USING (visit_id)
),
several AS (
    -- jobs of more than one visit: most jobs are of one, and need no window
    SELECT site_id, job_id FROM member GROUP BY site_id, job_id HAVING count(*) > 1
),
keyed AS (
    SELECT m.* REPLACE (coalesce(m.appliance_key, CASE WHEN min(m.appliance_key) OVER in_job = max(m.appliance_key) OVER in_job
            THEN min(m.appliance_key) OVER in_job END) AS appliance_key)
    FROM member AS m SEMI JOIN several USING (site_id, job_id)
    WINDOW in_job AS (PARTITION BY m.site_id, m.job_id)
),
stepped AS (
    SELECT *,
        sum(CASE WHEN is_sign THEN 1 ELSE 0 END) OVER so_far AS n_signs_so_far,
        NOT is_planned AND NOT is_return AND coalesce(last_value(CASE WHEN is_closing OR NOT (is_planned
            OR (is_return AND is_declared_complete IS NULL AND NOT coalesce(waits_for_part, false))) THEN is_closing END
            IGNORE NULLS) OVER before, false) AS is_new
    FROM keyed
    WINDOW so_far AS (PARTITION BY site_id, job_id, appliance_key ORDER BY arrived_at, visit_id),
        before AS (PARTITION BY site_id, job_id, appliance_key ORDER BY arrived_at, visit_id
            ROWS BETWEEN UNBOUNDED PRECEDING AND 1 PRECEDING)
),
counted AS (
    SELECT *, sum(CASE WHEN is_new THEN 1 ELSE 0 END) OVER (
        PARTITION BY site_id, job_id, appliance_key ORDER BY arrived_at, visit_id) AS episode
    FROM stepped
    WHERE n_signs_so_far > 0 OR NOT is_planned
),
placed AS (
    SELECT *, first_value(visit_id) OVER in_order AS draft_fault_id, row_number() OVER in_order AS visit_no,
        min(CASE WHEN has_swap THEN arrived_at END) OVER whole AS first_swap_at
    FROM counted
    WINDOW in_order AS (PARTITION BY site_id, job_id, appliance_key, episode ORDER BY arrived_at, visit_id),
        whole AS (PARTITION BY site_id, job_id, appliance_key, episode)
    QUALIFY bool_or(is_sign) OVER whole
    UNION ALL BY NAME
    SELECT *, visit_id AS draft_fault_id, 1 AS visit_no, CASE WHEN has_swap THEN arrived_at END AS first_swap_at
    FROM member ANTI JOIN several USING (site_id, job_id)
)
SELECT visit_id, draft_fault_id, visit_no, site_id, job_id, appliance_key, is_appliance_proven, technician_id, branch, region,
    weather_station_id, arrived_at, left_at, arrived_on, week_on, season, symptom, is_draft_symptom, is_after_hours,
    cause_code, cause_group, contributing_cause_code, is_cause_corrected, n_minutes, has_swap, first_swap_at, is_closing,
    is_declared_complete IS NOT NULL AS is_closing_known, coalesce(waits_for_part, false) AS waits_for_part
FROM placed
