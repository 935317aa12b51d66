-- one row per draft fault: what the readings before the repair say about the switch
-- kept as: table by site
-- Before the first swap, draft read at the switch counts, with the state of the contacts; and contacts closed at rest
-- count whatever else was read with them, since at rest there is no draft to hold them. guard = factor x u, with u
-- from the gauge, its smallest step and the tolerance of the make point (half width over the root of three).
-- made = past the make point; a reading at rest has no margin. Readings that contradict each other leave it unclear.
WITH rated AS (
    SELECT f.draft_fault_id, coalesce(a.rated_make_pressure_pa, w.rated_make_pa) AS make_pa,
        coalesce(CASE WHEN a.rated_make_pressure_pa IS NOT NULL THEN a.make_tolerance_pa END, w.make_tolerance_pa,
            s.assumed_tolerance_share * coalesce(a.rated_make_pressure_pa, w.rated_make_pa)) AS tolerance_pa
    FROM draft_fault AS f CROSS JOIN setting AS s
    LEFT JOIN delivered.appliances AS a ON a.appliance_id = f.appliance_key AND a.site_id = f.site_id
    LEFT JOIN (SELECT draft_fault_id, min_by(rated_make_pa, swap_id) AS rated_make_pa,
            min_by(make_tolerance_pa, swap_id) AS make_tolerance_pa FROM swap GROUP BY draft_fault_id) AS w
        USING (draft_fault_id)
),
taken AS (
    SELECT d.draft_fault_id, d.visit_no, r.reading_no, r.quantity, r.condition, r.contacts, r.gauge_id,
        CASE WHEN r.quantity = 'draft_at_switch' THEN r.value_pa END AS draft_pa,
        r.quantity = 'draft_at_switch' AND r.value_pa IS NOT NULL AS is_draft,
        coalesce(r.taken = 'before_repair' AND coalesce(d.arrived_at <= d.first_swap_at, true), false)
            OR (r.taken IS NULL AND coalesce(d.arrived_at < d.first_swap_at, false)) AS is_before,
        coalesce(r.taken = 'after_repair', false) AS is_after,
        coalesce(r.condition <> 'at_rest', false) AS is_running, coalesce(r.condition = 'at_rest', false) AS is_at_rest
    FROM reading AS r JOIN draft_visit AS d USING (visit_id)
),
compared AS (
    SELECT t.*, m.make_pa, CASE WHEN NOT t.is_at_rest THEN t.draft_pa - m.make_pa END AS margin_pa,
        s.guard_factor * sqrt(
            gauge_uncertainty_pa(t.draft_pa, g.full_scale_pa, g.accuracy_percent_full_scale, g.accuracy_percent_reading,
                s.assumed_accuracy_share) ** 2
            + resolution_uncertainty_pa(g.resolution_pa, s.assumed_resolution_pa) ** 2
            + m.tolerance_pa ** 2 / 3) AS guard_pa
    FROM taken AS t CROSS JOIN setting AS s JOIN rated AS m USING (draft_fault_id)
    LEFT JOIN gauge AS g ON t.is_draft AND g.gauge_id = t.gauge_id
),
judged AS (
    SELECT *,
        is_draft AND is_before AND contacts IS NOT NULL AS is_usable,
        coalesce(is_before AND is_at_rest AND contacts = 'closed', false) AS is_closed_at_rest,
        coalesce(is_draft AND is_before AND margin_pa > guard_pa AND contacts = 'open', false) AS is_open_past_guard,
        coalesce(is_draft AND is_before AND is_running AND margin_pa < 0 AND contacts = 'open', false) AS is_short,
        coalesce(is_draft AND is_before AND margin_pa >= 0 AND contacts = 'closed', false) AS is_made,
        coalesce(is_draft AND is_after AND is_running AND margin_pa >= 0 AND coalesce(contacts, 'closed') = 'closed', false)
            AS is_made_after,
        {'draft_pa': draft_pa, 'margin_pa': margin_pa, 'guard_pa': guard_pa, 'contacts': contacts} AS reading_shown
    FROM compared
),
weighed AS (
    -- the reading to show: the one that decides, of several the one farthest from the make point, then the first
    SELECT *, CASE WHEN is_open_past_guard THEN 5e5 + margin_pa WHEN is_closed_at_rest THEN 4e5
            WHEN is_short OR is_made THEN 3e5 + abs(margin_pa) WHEN is_usable AND NOT is_at_rest THEN 2e5
            WHEN is_usable THEN 1e5 WHEN is_draft AND is_before THEN 5e4 WHEN is_draft THEN 0 END
        - (visit_no * 1000 + reading_no) * 1e-6 AS weight
    FROM judged
),
gathered AS (
    SELECT draft_fault_id, bool_or(is_usable) AS is_usable, bool_or(is_closed_at_rest) AS is_closed_at_rest,
        bool_or(is_open_past_guard) AS is_open_past_guard, bool_or(is_short) AS is_short, bool_or(is_made) AS is_made,
        bool_or(is_made_after) AS is_made_after, bool_or(is_draft) AS has_draft,
        bool_or(is_draft AND is_before) AS has_draft_before,
        count(*) FILTER (WHERE is_before) AS n_readings_before,
        bool_or(quantity IN ('draft_at_switch', 'draft_at_port')) AS has_gauge_reading,
        bool_or(is_after) AS has_after_reading,
        max_by(reading_shown, weight) AS shown
    FROM weighed GROUP BY draft_fault_id
),
decided AS (
    SELECT g.*, CASE
        WHEN is_open_past_guard AND is_made OR is_closed_at_rest AND is_short THEN 'disagree'
        WHEN is_open_past_guard THEN 'open_past_guard'
        WHEN is_closed_at_rest THEN 'closed_at_rest'
        WHEN is_short THEN 'short' WHEN is_made THEN 'made'
        WHEN is_usable THEN 'usable' WHEN has_draft_before THEN 'no_contacts' WHEN has_draft THEN 'not_before'
    END AS finding
    FROM gathered AS g
)
SELECT f.draft_fault_id, f.site_id, CASE d.finding
        WHEN 'open_past_guard' THEN 'switch_shown_faulty' WHEN 'closed_at_rest' THEN 'switch_shown_faulty'
        WHEN 'short' THEN 'condemnation_not_supported' WHEN 'made' THEN 'condemnation_not_supported'
        ELSE CASE WHEN d.finding IS NULL THEN 'no_reading' ELSE 'unclear' END END AS evidence,
    d.shown.draft_pa AS draft_pa, m.make_pa, d.shown.margin_pa AS margin_pa, d.shown.guard_pa AS guard_pa,
    d.shown.contacts AS contacts,
    CASE d.finding
        WHEN 'disagree' THEN 'readings before the repair contradict each other'
        WHEN 'open_past_guard' THEN 'draft past the make point by more than the guard band, contacts open'
        WHEN 'closed_at_rest' THEN 'contacts closed at rest'
        WHEN 'short' THEN 'running, draft short of the make point, contacts open: the switch did what it should'
        WHEN 'made' THEN 'draft past the make point, contacts closed: the switch did what it should'
        WHEN 'no_contacts' THEN 'draft was read, but not whether the contacts were open or closed'
        WHEN 'not_before' THEN 'draft was read, but not before the repair'
        WHEN 'usable' THEN CASE WHEN m.make_pa IS NULL THEN 'no make point on record'
            ELSE 'reading near the make point, or not said how the appliance ran' END
        ELSE 'no draft reading at the switch' END AS reason,
    coalesce(d.n_readings_before, 0) AS n_readings_before, coalesce(d.has_gauge_reading, false) AS has_gauge_reading,
    coalesce(d.has_after_reading, false) AS has_after_reading, coalesce(d.is_short, false) AS is_short_before,
    coalesce(d.is_made, false) AS is_made_before, coalesce(d.is_made_after, false) AS is_made_after
FROM draft_fault AS f JOIN rated AS m USING (draft_fault_id)
LEFT JOIN decided AS d USING (draft_fault_id)
