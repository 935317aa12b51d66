-- one row per check on a visit
-- kept as: view
SELECT visit_id, check_code, outcome FROM delivered.checks
