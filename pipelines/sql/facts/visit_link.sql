-- one row per closed draft fault and later visit to the same appliance, up to and including its next draft fault
-- kept as: table by site
-- Within 400 days. Where the appliance is not known on either side, visits to the same site are linked, but an
-- unplanned one for the same lost function is then uncertain. A correction of the link or the class wins.
-- Visits with dates only, of one day: those with a later visit_id on another job count as later.
-- Same lost function: a draft symptom or a swap; or a draft cause with no other complaint than no heat.
WITH closed AS (
    SELECT f.draft_fault_id, f.site_id, f.job_id, f.appliance_key, coalesce(f.appliance_key, '') AS key_or_none,
        f.completed_at, f.completing_visit_id, f.completing_arrived_at, f.waits_for_part,
        local_date(f.completed_at, s.time_zone) AS completed_on,
        is_day_only(f.completing_arrived_at, s.time_zone) AS is_day_only
    FROM draft_fault AS f CROSS JOIN setting AS s WHERE f.is_closed
),
next_that_day AS (
    SELECT f.draft_fault_id, min(n.draft_fault_id) AS next_fault_id
    FROM closed AS f JOIN draft_fault AS n
        ON n.site_id = f.site_id AND n.arrived_at = f.completing_arrived_at AND coalesce(n.appliance_key, '') = f.key_or_none
    WHERE f.is_day_only AND n.draft_fault_id > f.completing_visit_id AND n.job_id <> f.job_id
    GROUP BY f.draft_fault_id
),
fault AS MATERIALIZED (
    -- completed_at is never before the fault's own arrival, so that a fault does not end its own links
    SELECT f.*, d.next_fault_id AS next_that_day_id,
        CASE WHEN d.next_fault_id IS NULL THEN coalesce(n.arrived_at, TIMESTAMP '9999-01-01') END AS next_at
    FROM closed AS f ASOF LEFT JOIN (
        SELECT site_id, coalesce(appliance_key, '') AS key_or_none, arrived_at FROM draft_fault) AS n
        ON n.site_id = f.site_id AND n.key_or_none = f.key_or_none AND f.completed_at < n.arrived_at
    LEFT JOIN next_that_day AS d USING (draft_fault_id)
),
near AS (
    -- on the site and in time; whether it is the same appliance is looked at below
    SELECT f.draft_fault_id, f.appliance_key AS fault_appliance_key, f.waits_for_part, f.job_id = v.job_id AS is_same_job,
        v.arrived_on - f.completed_on AS days_between, v.visit_id, v.site_id, v.arrived_at, v.visit_kind, v.symptom,
        v.is_draft_symptom, v.cause_group, v.appliance_key, v.follows_visit_id, v.is_link_corrected
    FROM fault AS f JOIN visit AS v ON v.site_id = f.site_id AND v.arrived_at > f.completed_at AND v.arrived_at <= f.next_at
    WHERE v.arrived_on - f.completed_on <= 400
    UNION ALL
    SELECT f.draft_fault_id, f.appliance_key, f.waits_for_part, false, 0, v.visit_id, v.site_id, v.arrived_at, v.visit_kind,
        v.symptom, v.is_draft_symptom, v.cause_group, v.appliance_key, v.follows_visit_id, v.is_link_corrected
    FROM fault AS f JOIN visit AS v ON v.site_id = f.site_id AND v.arrived_at = f.completing_arrived_at
    WHERE f.is_day_only AND v.job_id <> f.job_id AND v.visit_id > f.completing_visit_id
        AND v.visit_id <= coalesce(f.next_that_day_id, v.visit_id)
),
pair AS (
    SELECT v.*, coalesce(d.has_swap, false) AS has_swap,
        coalesce(earlier.draft_fault_id = v.draft_fault_id, false) AS is_following,
        coalesce(earlier.draft_fault_id = v.draft_fault_id
            OR coalesce(d.appliance_key, v.appliance_key) = v.fault_appliance_key, false) AS is_same_appliance
    FROM near AS v
    LEFT JOIN draft_visit AS d ON d.visit_id = v.visit_id
    LEFT JOIN draft_visit AS earlier ON earlier.visit_id = v.follows_visit_id
    WHERE d.draft_fault_id IS DISTINCT FROM v.draft_fault_id
        AND (coalesce(d.appliance_key, v.appliance_key) = v.fault_appliance_key
            OR coalesce(d.appliance_key, v.appliance_key) IS NULL OR v.fault_appliance_key IS NULL
            OR earlier.draft_fault_id = v.draft_fault_id)
),
corrected AS (
    SELECT visit_id, new_value AS link_class FROM correction
    WHERE corrected_field = 'callback_class'
),
judged AS (
    SELECT p.*, c.link_class AS corrected_class, CASE
        WHEN p.is_draft_symptom OR p.has_swap THEN 'same'
        WHEN p.cause_group <> 'none_found' THEN CASE WHEN coalesce(p.symptom, 'no_heat_other') = 'no_heat_other'
            THEN 'same' ELSE 'disagree' END
        WHEN p.visit_kind = 'no_heat' AND p.symptom IS NULL THEN 'not_said'
        ELSE 'other' END AS lost_function
    FROM pair AS p LEFT JOIN corrected AS c USING (visit_id)
),
unplanned AS (
    SELECT visit_id FROM judged
    WHERE lost_function = 'same' AND is_same_appliance AND corrected_class IS NULL AND NOT is_planned_kind(visit_kind)
),
another AS MATERIALIZED (
    -- kept apart from the scan, so that only the notes of these visits are searched
    SELECT v.visit_id, regexp_matches(lower(v.notes),
            '\b(unrelated|not related|(different|other|second|wrong) (unit|appliance|furnace|boiler|heater))\b')
            AS is_another
    FROM draft_note AS v SEMI JOIN unplanned USING (visit_id)
),
decided AS (
    SELECT j.*, CASE
        WHEN corrected_class IS NOT NULL THEN 'corrected'
        WHEN is_link_corrected AND NOT is_following THEN 'link_corrected'
        WHEN is_planned_kind(visit_kind) THEN 'planned_kind'
        WHEN visit_kind = 'return_for_part' THEN CASE
            WHEN is_same_job OR waits_for_part OR is_following OR lost_function IN ('other', 'not_said') THEN 'return'
            ELSE 'return_not_announced' END
        WHEN lost_function = 'other' THEN 'other' WHEN lost_function = 'disagree' THEN 'disagree'
        WHEN lost_function = 'not_said' THEN 'not_said'
        WHEN NOT is_same_appliance THEN 'not_proven'
        WHEN a.is_another THEN 'note' ELSE 'callback' END AS finding
    FROM judged AS j LEFT JOIN another AS a USING (visit_id)
)
SELECT draft_fault_id, site_id, visit_id AS next_visit_id, arrived_at AS next_arrived_at, days_between, CASE finding
        WHEN 'corrected' THEN corrected_class WHEN 'link_corrected' THEN 'other_function'
        WHEN 'planned_kind' THEN 'maintenance' WHEN 'return' THEN 'planned_return' WHEN 'other' THEN 'other_function'
        WHEN 'callback' THEN 'callback' ELSE 'uncertain' END AS link_class,
    CASE finding
        WHEN 'corrected' THEN 'corrected here' WHEN 'link_corrected' THEN 'corrected here: follows another visit'
        WHEN 'planned_kind' THEN 'a planned visit' WHEN 'return' THEN 'return to fit a part'
        WHEN 'return_not_announced' THEN 'return for a part, but nobody recorded waiting for one'
        WHEN 'other' THEN 'another function' WHEN 'disagree' THEN 'cause of a draft fault under another complaint'
        WHEN 'not_said' THEN 'no heat, but not said what was lost'
        WHEN 'not_proven' THEN 'same function on the site, appliance not proven'
        WHEN 'note' THEN 'the note speaks of another appliance or an unrelated fault'
        ELSE 'same function lost again, not planned' END AS reason
FROM decided
