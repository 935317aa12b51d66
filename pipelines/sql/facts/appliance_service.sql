-- one row per appliance that was ever visited: from when until when it counts as served
-- kept as: table by site
-- From its first visit until the span in the settings after its last one, or its removal.
WITH seen AS (
    SELECT site_id, appliance_key, any_value(region) AS region, any_value(appliance_kind) AS appliance_kind,
        any_value(is_condensing) AS is_condensing, min(arrived_on) AS first_on, max(arrived_on) AS last_on
    FROM visit WHERE appliance_key IS NOT NULL GROUP BY site_id, appliance_key
)
SELECT v.site_id, v.appliance_key, v.region, v.appliance_kind, v.is_condensing, v.first_on AS served_from_on,
    greatest(v.first_on, least(v.last_on + CAST(s.service_gap_days AS INTEGER), a.removed_on)) AS served_until_on
FROM seen AS v CROSS JOIN setting AS s
LEFT JOIN delivered.appliances AS a ON a.appliance_id = v.appliance_key AND a.site_id = v.site_id
