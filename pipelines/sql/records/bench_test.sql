-- one row per bench test of a removed switch, as entered
-- kept as: view
SELECT * EXCLUDE (load_id, row_no) FROM delivered.bench_tests
