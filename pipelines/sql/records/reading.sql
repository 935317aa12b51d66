-- one row per reading on a visit
-- kept as: view
SELECT visit_id, reading_no, quantity, value, value_pa, sign, unit, condition, contacts, taken, gauge_id
FROM delivered.readings
