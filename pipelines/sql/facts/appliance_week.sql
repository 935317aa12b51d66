-- one row per region, kind of appliance, condensing or not, and week: appliances under service
-- kept as: table
WITH change AS (
    SELECT region, appliance_kind, is_condensing, date_trunc('week', served_from_on)::DATE AS week_on, 1 AS n
    FROM appliance_service
    UNION ALL
    SELECT region, appliance_kind, is_condensing, date_trunc('week', served_until_on)::DATE + 7, -1 FROM appliance_service
),
changed AS (
    SELECT region, appliance_kind, is_condensing, week_on, sum(n) AS n FROM change GROUP BY ALL
),
span AS (
    SELECT min(week_on) AS first_on, max(week_on) AS last_on FROM visit
),
grid AS (
    SELECT g.*, CAST(w.week_on AS DATE) AS week_on
    FROM (SELECT region, appliance_kind, is_condensing, min(week_on) AS first_on FROM changed GROUP BY ALL) AS g
    CROSS JOIN (SELECT unnest(generate_series(first_on, last_on, INTERVAL 7 DAY)) AS week_on FROM span) AS w
    WHERE w.week_on >= g.first_on
)
SELECT g.region, g.appliance_kind, g.is_condensing, g.week_on,
    CAST(sum(coalesce(c.n, 0)) OVER (PARTITION BY g.region, g.appliance_kind, g.is_condensing ORDER BY g.week_on) AS BIGINT)
        AS n_appliances
FROM grid AS g LEFT JOIN changed AS c ON c.region IS NOT DISTINCT FROM g.region
    AND c.appliance_kind IS NOT DISTINCT FROM g.appliance_kind
    AND c.is_condensing IS NOT DISTINCT FROM g.is_condensing AND c.week_on = g.week_on
