-- pressure readings whose unit is unknown: they say nothing about the switch
-- severity: notice
SELECT quantity, coalesce(unit, 'none') AS unit, count(*) AS n_readings FROM reading
WHERE quantity IN ('draft_at_switch', 'draft_at_port', 'manifold_pressure') AND value IS NOT NULL AND value_pa IS NULL
GROUP BY ALL ORDER BY ALL
