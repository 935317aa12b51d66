-- one row per swap with all that is known about it
-- kept as: table by site
WITH claim AS (
    SELECT w.swap_id, max_by({'outcome': c.outcome, 'amount': c.credited_amount, 'currency': c.currency},
            (c.removed_tag IS NOT NULL, coalesce(c.decided_on, c.filed_on, DATE '1900-01-01'), c.claim_id)) AS last_claim
    FROM warranty_claim AS c JOIN swap AS w
        ON w.visit_id = c.visit_id AND (c.removed_tag IS NULL OR c.removed_tag = w.removed_tag)
    GROUP BY w.swap_id
)
SELECT w.*, f.branch, f.region, f.week_on, f.season, f.month, f.symptom, f.is_after_hours, f.appliance_kind, f.is_condensing,
    f.appliance_age_years, f.is_appliance_proven, f.arrived_on AS diagnosed_on, e.evidence, e.margin_pa, e.guard_pa,
    r.tier, r.tier_at_close, r.cause_code, r.contributing_cause_code, r.cause_group, r.has_root_cause, b.verdict,
    b.p_conform, b.selection, b.selection_probability, e.n_readings_before, r.n_checks_done, r.n_checks_fault,
    e.has_gauge_reading, e.has_after_reading, r.n_note_characters, c.last_claim.outcome AS claim_outcome,
    c.last_claim.amount AS claim_credited_amount, c.last_claim.currency AS claim_currency
FROM swap AS w JOIN draft_fault AS f USING (draft_fault_id)
JOIN field_evidence AS e USING (draft_fault_id) JOIN root_cause AS r USING (draft_fault_id)
LEFT JOIN bench_result AS b USING (swap_id) LEFT JOIN claim AS c USING (swap_id)
