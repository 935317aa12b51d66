-- one row per swap with all that is known about it
-- kept as: table by site
-- A warranty claim belongs to one swap of its visit: the one with its tag, else one without a tag, else the lowest number.
-- Of several claims on a swap the outcome is that of the last, one with its tag going first. What was credited adds up;
-- amounts in different currencies do not, and then the last one stands.
WITH placed AS (
    SELECT w.swap_id, c.outcome, c.currency, CASE WHEN coalesce(c.outcome, 'paid') = 'paid' THEN c.credited_amount END AS amount,
        (coalesce(c.removed_tag = w.removed_tag, false), coalesce(c.decided_on, c.filed_on, DATE '1900-01-01'), c.claim_id)
            AS claim_order
    FROM warranty_claim AS c JOIN swap AS w USING (visit_id)
    QUALIFY row_number() OVER (PARTITION BY c.claim_id ORDER BY
        CASE WHEN c.removed_tag = w.removed_tag THEN 1 WHEN w.removed_tag IS NULL THEN 2 ELSE 3 END,
        length(w.swap_id), w.swap_id) = 1
),
claim AS (
    SELECT swap_id, max_by(outcome, claim_order) AS outcome,
        coalesce(max_by(currency, claim_order) FILTER (WHERE amount IS NOT NULL), max_by(currency, claim_order)) AS currency,
        CASE WHEN count(DISTINCT currency) FILTER (WHERE amount IS NOT NULL) > 1
            THEN max_by(amount, claim_order) FILTER (WHERE amount IS NOT NULL) ELSE sum(amount) END AS amount
    FROM placed GROUP BY swap_id
)
SELECT w.*, f.branch, f.region, f.week_on, f.season, f.month, f.symptom, f.is_after_hours, f.appliance_kind, f.is_condensing,
    f.appliance_age_years, f.is_appliance_proven, f.arrived_on AS diagnosed_on, e.evidence, e.margin_pa, e.guard_pa,
    r.tier, r.tier_at_close, r.cause_code, r.contributing_cause_code, r.cause_group, r.has_root_cause, b.verdict,
    b.p_conform, b.selection, b.selection_probability, e.n_readings_before, r.n_checks_done, r.n_checks_fault,
    e.has_gauge_reading, e.has_after_reading, r.n_note_characters, c.outcome AS claim_outcome,
    c.amount AS claim_credited_amount, c.currency AS claim_currency
FROM swap AS w JOIN draft_fault AS f USING (draft_fault_id)
JOIN field_evidence AS e USING (draft_fault_id) JOIN root_cause AS r USING (draft_fault_id)
LEFT JOIN bench_result AS b USING (swap_id) LEFT JOIN claim AS c USING (swap_id)
