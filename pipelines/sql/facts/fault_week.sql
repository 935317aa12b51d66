-- one row per region, week and family of causes: draft faults of the family and appliances under service
-- kept as: table
-- The family is that of the cause, else of the contributing cause. Weeks without a fault are rows too.
WITH fault AS (
    SELECT f.region, f.week_on, coalesce(c.family, k.family) AS family, count(*) AS n_faults
    FROM root_cause AS r JOIN draft_fault AS f USING (draft_fault_id)
    LEFT JOIN cause AS c ON c.cause_code = r.cause_code LEFT JOIN cause AS k ON k.cause_code = r.contributing_cause_code
    WHERE coalesce(c.family, k.family) IS NOT NULL GROUP BY ALL
),
span AS (SELECT min(week_on) AS first_on, max(week_on) AS last_on FROM visit),
served AS (
    SELECT region, week_on, sum(n_appliances) AS n_appliances FROM appliance_week GROUP BY region, week_on
),
grid AS (
    SELECT r.region, CAST(w.week_on AS DATE) AS week_on, f.family
    FROM (SELECT DISTINCT region FROM visit) AS r
    CROSS JOIN (SELECT unnest(generate_series(first_on, last_on, INTERVAL 7 DAY)) AS week_on FROM span) AS w
    CROSS JOIN (SELECT unnest(['condensate', 'blockage']) AS family) AS f
)
SELECT g.region, g.week_on, g.family, coalesce(f.n_faults, 0) AS n_faults,
    CAST(coalesce(s.n_appliances, 0) AS BIGINT) AS n_appliances
FROM grid AS g
LEFT JOIN fault AS f ON f.region IS NOT DISTINCT FROM g.region AND f.week_on = g.week_on AND f.family = g.family
LEFT JOIN served AS s ON s.region IS NOT DISTINCT FROM g.region AND s.week_on = g.week_on
