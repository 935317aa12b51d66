-- a bench result whose probability is no probability, or whose verdict goes against it
-- severity: error
SELECT b.swap_id, b.p_conform, b.verdict, b.reason FROM bench_result AS b CROSS JOIN setting AS s
WHERE b.p_conform < 0 OR b.p_conform > 1 OR isnan(b.p_conform)
    OR (b.reason <> 'corrected here' AND b.verdict = 'good' AND (b.p_conform IS NULL OR b.p_conform < s.bench_good_probability))
ORDER BY b.swap_id
