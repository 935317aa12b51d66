-- a bench test whose switch cannot be tied to a swap: no such tag or visit, or several swaps it might mean
-- severity: notice
SELECT b.bench_test_id, b.removed_tag, b.visit_id, b.tested_at FROM bench_test AS b
WHERE b.bench_test_id NOT IN (SELECT bench_test_id FROM bench_match) ORDER BY b.bench_test_id
