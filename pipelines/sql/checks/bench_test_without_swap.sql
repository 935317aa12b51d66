-- a bench test whose switch cannot be tied to a swap: no such tag or visit, or several swaps it might mean
-- severity: notice
SELECT b.bench_test_id, b.removed_tag, b.visit_id, b.tested_at, CASE
        WHEN b.removed_tag IS NULL AND EXISTS (FROM swap AS w WHERE w.visit_id = b.visit_id)
            THEN 'several switches were pulled on this visit; the result counts once its tag says which'
        WHEN b.removed_tag IS NULL THEN 'no swap of this visit is on record; the result counts once one is'
        WHEN NOT EXISTS (FROM swap AS w WHERE w.removed_tag = b.removed_tag)
            THEN 'no swap on record has this tag; the result counts once one does'
        WHEN b.visit_id IS NOT NULL
            THEN 'the swap on record with this tag is of another visit; the result counts once tag and visit agree'
        ELSE 'the swap on record with this tag came after the test; the result counts once one before it is on record'
    END AS why
FROM bench_test AS b
WHERE b.bench_test_id NOT IN (SELECT bench_test_id FROM bench_match) ORDER BY b.bench_test_id
