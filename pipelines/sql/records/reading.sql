-- one row per reading on a visit
-- kept as: view
-- A draft above 2.8 in. w.c. (697 Pa) is a gas pressure in the wrong field (3.5 or 10 at a manifold): its value is kept as
-- delivered, and is no draft.
SELECT visit_id, reading_no, quantity, value,
    CASE WHEN quantity IN ('draft_at_switch', 'draft_at_port') AND value_pa > 2.8 * 249.08891 THEN NULL ELSE value_pa END
        AS value_pa,
    sign, unit, condition, contacts, taken, gauge_id
FROM delivered.readings
