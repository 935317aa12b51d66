-- one row per branch and week: what was attended, swapped, tested, and what came back
-- kept as: table
-- Swaps count in the week their fault was first attended; callbacks in the week their clock started. A callback share
-- is n_callbacks_30 / n_mature_30; both count only once 30 days have passed for the swap, and not swaps whose watch ended
-- sooner for another reason.
WITH attended AS (
    SELECT branch, week_on, count(*) AS n_visits FROM visit GROUP BY branch, week_on
),
fault AS (
    SELECT branch, week_on, count(*) AS n_draft_faults FROM draft_fault GROUP BY branch, week_on
),
swapped AS (
    SELECT branch, week_on, count(*) AS n_swaps, count(*) FILTER (WHERE NOT has_root_cause) AS n_without_cause,
        count(verdict) AS n_tested, count(*) FILTER (WHERE verdict = 'good') AS n_good,
        count(*) FILTER (WHERE verdict = 'faulty') AS n_faulty
    FROM swap_case GROUP BY branch, week_on
),
came_back AS (
    SELECT c.branch, date_trunc('week', c.starts_on)::DATE AS week_on,
        count(*) FILTER (WHERE c.starts_on + 30 <= e.data_end_on AND c.callback_days <= 30) AS n_callbacks_30,
        count(*) FILTER (WHERE c.starts_on + 30 <= e.data_end_on AND (c.callback_days <= 30 OR c.observed_days >= 30))
            AS n_mature_30
    FROM callback AS c CROSS JOIN (SELECT max(arrived_on) AS data_end_on FROM visit) AS e
    WHERE c.swap_id IS NOT NULL AND c.starts_on IS NOT NULL GROUP BY ALL
),
keyed AS (
    SELECT branch, week_on FROM attended UNION SELECT branch, week_on FROM fault
    UNION SELECT branch, week_on FROM came_back
)
SELECT k.branch, k.week_on, coalesce(a.n_visits, 0) AS n_visits, coalesce(f.n_draft_faults, 0) AS n_draft_faults,
    coalesce(w.n_swaps, 0) AS n_swaps, coalesce(w.n_without_cause, 0) AS n_without_cause, coalesce(w.n_tested, 0) AS n_tested,
    coalesce(w.n_good, 0) AS n_good, coalesce(w.n_faulty, 0) AS n_faulty, coalesce(c.n_callbacks_30, 0) AS n_callbacks_30,
    coalesce(c.n_mature_30, 0) AS n_mature_30
FROM keyed AS k
LEFT JOIN attended AS a ON a.branch IS NOT DISTINCT FROM k.branch AND a.week_on = k.week_on
LEFT JOIN fault AS f ON f.branch IS NOT DISTINCT FROM k.branch AND f.week_on = k.week_on
LEFT JOIN swapped AS w ON w.branch IS NOT DISTINCT FROM k.branch AND w.week_on = k.week_on
LEFT JOIN came_back AS c ON c.branch IS NOT DISTINCT FROM k.branch AND c.week_on = k.week_on
