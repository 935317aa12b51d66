-- one row per bench test of a removed switch, as delivered or as entered here
-- kept as: view
-- A test entered here holds against a delivered one of the same id; its visit may be numbered otherwise by now.
SELECT * EXCLUDE (load_id, row_no) FROM delivered.bench_tests
WHERE bench_test_id NOT IN (SELECT bench_test_id FROM entered.bench_tests)
UNION ALL BY NAME SELECT b.* REPLACE (coalesce(r.new_visit_id, b.visit_id) AS visit_id)
FROM entered.bench_tests AS b LEFT JOIN renumbered_visit AS r ON r.visit_id = b.visit_id
