-- one row per bench test that can be tied to a swap
-- kept as: table by site
-- By tag and visit; by tag alone the latest swap up to the day of the test, since many tests carry no time of
-- day; by visit where that leaves one swap. A test whose tag or visit fits no swap, or several, has no row.
WITH candidate AS (
    SELECT b.bench_test_id, w.swap_id, w.site_id,
        CASE WHEN b.removed_tag = w.removed_tag AND b.visit_id = w.visit_id THEN 1
            WHEN b.removed_tag = w.removed_tag THEN 2 ELSE 3 END AS match_no, w.swapped_at
    FROM bench_test AS b CROSS JOIN setting AS s JOIN swap AS w ON w.removed_tag = b.removed_tag
    WHERE b.visit_id = w.visit_id OR (b.visit_id IS NULL AND w.swapped_on <= local_date(b.tested_at, s.time_zone))
    UNION ALL
    SELECT b.bench_test_id, w.swap_id, w.site_id, 3, w.swapped_at
    FROM bench_test AS b JOIN swap AS w ON w.visit_id = b.visit_id AND (w.removed_tag IS NULL OR b.removed_tag IS NULL)
    QUALIFY count(*) OVER (PARTITION BY b.bench_test_id) = 1
)
SELECT bench_test_id, swap_id, site_id FROM candidate
QUALIFY row_number() OVER (PARTITION BY bench_test_id ORDER BY match_no, swapped_at DESC, swap_id) = 1
