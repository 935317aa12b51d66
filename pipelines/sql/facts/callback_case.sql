-- one row per draft fault: the first visit that came back for it, before the end of the data is looked at
-- kept as: table by site
-- Swaps with dates only, of one day: as in visit_link, one on a later visit_id of another job counts as later.
WITH linked AS (
    SELECT draft_fault_id,
        min_by(next_visit_id, (next_arrived_at, next_visit_id)) FILTER (WHERE link_class = 'callback') AS callback_visit_id,
        min(days_between) FILTER (WHERE link_class = 'callback') AS callback_days,
        min(days_between) AS possible_callback_days,
        min_by({'link_class': link_class, 'reason': reason}, (next_arrived_at, next_visit_id)) AS first_link
    FROM visit_link WHERE link_class IN ('callback', 'uncertain') GROUP BY draft_fault_id
),
certain AS (
    SELECT draft_fault_id, min_by(reason, (next_arrived_at, next_visit_id)) AS reason
    FROM visit_link WHERE link_class = 'callback' GROUP BY draft_fault_id
),
last_swap AS (
    SELECT draft_fault_id, max_by(swap_id, (swapped_at, swap_id)) AS swap_id FROM swap GROUP BY draft_fault_id
),
next_swap AS (
    -- of another fault: a return after completion may still fit a switch for this one
    SELECT f.draft_fault_id, min(n.swapped_on) AS swapped_on
    FROM draft_fault AS f JOIN swap AS n
        ON n.site_id = f.site_id AND coalesce(n.appliance_key, '') = coalesce(f.appliance_key, '')
        AND n.draft_fault_id <> f.draft_fault_id AND n.swapped_at > f.completed_at
    GROUP BY f.draft_fault_id
),
swap_that_day AS (
    SELECT DISTINCT f.draft_fault_id
    FROM draft_fault AS f CROSS JOIN setting AS s JOIN swap AS n
        ON n.site_id = f.site_id AND n.swapped_at = f.completing_arrived_at
    WHERE n.job_id <> f.job_id AND n.visit_id > f.completing_visit_id
        AND coalesce(n.appliance_key, '') = coalesce(f.appliance_key, '')
        AND is_day_only(n.swapped_at, s.time_zone)
),
started AS (
    SELECT f.*, CASE WHEN f.is_closed THEN local_date(f.completed_at, s.time_zone) END AS starts_on
    FROM draft_fault AS f CROSS JOIN setting AS s
)
SELECT f.draft_fault_id, w.swap_id, f.site_id, f.weather_station_id, f.owner_id, f.branch, f.is_closed,
    f.starts_on, l.callback_visit_id, l.callback_days, l.possible_callback_days,
    CASE WHEN d.draft_fault_id IS NULL THEN n.swapped_on ELSE f.starts_on END AS next_swap_on, f.appliance_removed_on,
    CASE WHEN l.callback_days IS NOT NULL THEN 'callback' ELSE l.first_link.link_class END AS link_class,
    coalesce(c.reason, l.first_link.reason, CASE WHEN f.is_closed THEN 'no visit came back for it'
        ELSE 'never declared complete' END) AS reason
FROM started AS f
LEFT JOIN linked AS l USING (draft_fault_id) LEFT JOIN certain AS c USING (draft_fault_id)
LEFT JOIN last_swap AS w USING (draft_fault_id) LEFT JOIN next_swap AS n USING (draft_fault_id)
LEFT JOIN swap_that_day AS d USING (draft_fault_id)
