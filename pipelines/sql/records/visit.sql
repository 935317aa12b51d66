-- one row per visit, corrections applied, without its notes
-- kept as: table by visit
-- A blank appliance is filled in where the site has exactly one in service that day; it still counts as not proven.
-- n_minutes is unknown where the departure cannot be right: before the arrival, or more than a day after it.
-- Where a person decided that two technicians, or two appliances of one site, are the same, the id that was kept stands here.
-- A planned return without a job number joins the job of the visit it follows; a corrected link goes before the delivered.
WITH corrected AS (
    SELECT visit_id, max(new_value) FILTER (WHERE corrected_field = 'cause_code') AS cause_code,
        max(new_value) FILTER (WHERE corrected_field = 'link') AS link
    FROM correction WHERE corrected_field IN ('cause_code', 'link') GROUP BY visit_id
),
same_person AS (SELECT record_id, kept_id FROM entered.same_as WHERE subject = 'technician'),
same_appliance AS (SELECT site_id, record_id, kept_id FROM entered.same_as WHERE subject = 'appliance'),
sole AS (
    SELECT v.visit_id, min(coalesce(same.kept_id, a.appliance_id)) AS appliance_id
    FROM delivered.visits AS v CROSS JOIN setting AS s JOIN delivered.appliances AS a ON a.site_id = v.site_id
    LEFT JOIN same_appliance AS same ON same.record_id = a.appliance_id AND same.site_id = a.site_id
    WHERE v.appliance_id IS NULL
        AND coalesce(a.installed_on <= local_date(v.arrived_at, s.time_zone), true)
        AND coalesce(a.removed_on >= local_date(v.arrived_at, s.time_zone), true)
    GROUP BY v.visit_id
    HAVING min(coalesce(same.kept_id, a.appliance_id)) = max(coalesce(same.kept_id, a.appliance_id))
),
joined_job AS (
    SELECT v.visit_id, coalesce(earlier.job_id, earlier.visit_id) AS job_id
    FROM delivered.visits AS v LEFT JOIN corrected AS c USING (visit_id)
    JOIN delivered.visits AS earlier
        ON earlier.visit_id = coalesce(c.link, v.follows_visit_id) AND earlier.site_id = v.site_id
    WHERE v.job_id IS NULL AND v.visit_kind = 'return_for_part'
),
placed AS (
    SELECT v.* EXCLUDE (technician_id, notes, load_id, row_no),
        coalesce(same_person.kept_id, v.technician_id) AS technician_id,
        coalesce(same_appliance.kept_id, v.appliance_id, sole.appliance_id) AS appliance_key,
        local_date(v.arrived_at, s.time_zone) AS arrived_on, s.season_starts_month
    FROM delivered.visits AS v CROSS JOIN setting AS s LEFT JOIN sole USING (visit_id)
    LEFT JOIN same_person ON same_person.record_id = v.technician_id
    LEFT JOIN same_appliance ON same_appliance.record_id = v.appliance_id AND same_appliance.site_id = v.site_id
)
SELECT v.visit_id, coalesce(v.job_id, j.job_id, v.visit_id) AS job_id, v.site_id, v.appliance_key,
    v.appliance_id IS NOT NULL AS is_appliance_proven, v.technician_id, t.branch, site.region, site.weather_station_id,
    v.arrived_at, v.left_at, v.arrived_on, v.arrived_on - CAST(isodow(v.arrived_on) - 1 AS INTEGER) AS week_on,
    CAST(year(v.arrived_on) - CASE WHEN month(v.arrived_on) < v.season_starts_month THEN 1 ELSE 0 END AS INTEGER) AS season,
    v.visit_kind, v.symptom, coalesce(c.cause_code, v.cause_code) AS cause_code, cause.cause_group,
    v.contributing_cause_code, c.cause_code IS NOT NULL AS is_cause_corrected, v.is_declared_complete, v.waits_for_part,
    v.is_after_hours, coalesce(c.link, v.follows_visit_id) AS follows_visit_id,
    c.link IS NOT NULL AS is_link_corrected, a.appliance_kind, a.is_condensing,
    CASE WHEN v.left_at BETWEEN v.arrived_at AND v.arrived_at + INTERVAL 1 DAY
        THEN date_diff('second', v.arrived_at, v.left_at) / 60 END AS n_minutes,
    coalesce(v.symptom IN ('draft_not_proven', 'runs_then_stops', 'switch_closed_at_rest'), false) AS is_draft_symptom
FROM placed AS v
LEFT JOIN corrected AS c USING (visit_id)
LEFT JOIN joined_job AS j USING (visit_id)
LEFT JOIN technician AS t USING (technician_id)
LEFT JOIN delivered.sites AS site ON site.site_id = v.site_id
LEFT JOIN delivered.appliances AS a ON a.appliance_id = v.appliance_key AND a.site_id = v.site_id
LEFT JOIN cause ON cause.cause_code = coalesce(c.cause_code, v.cause_code)
