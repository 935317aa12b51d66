-- one row per warranty claim
-- kept as: view
SELECT claim_id, visit_id, removed_tag, filed_on, decided_on, outcome, credited_amount, currency, refusal_reason
FROM delivered.warranty_claims
