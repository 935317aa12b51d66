-- an appliance visited on another site than the one it is on record for
-- severity: notice
SELECT v.appliance_key AS appliance_id, a.site_id, v.site_id AS visited_site_id, count(*) AS n_visits
FROM visit AS v JOIN appliance AS a ON a.appliance_id = v.appliance_key
WHERE v.is_appliance_proven AND a.site_id <> v.site_id GROUP BY ALL ORDER BY ALL
