-- one row per bench test of a removed switch, as delivered or as entered here
-- kept as: view
-- A test entered here holds against a delivered one of the same id.
SELECT * EXCLUDE (load_id, row_no) FROM delivered.bench_tests
WHERE bench_test_id NOT IN (SELECT bench_test_id FROM entered.bench_tests)
UNION ALL BY NAME SELECT * FROM entered.bench_tests
