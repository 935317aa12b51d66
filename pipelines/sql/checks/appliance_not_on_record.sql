-- an appliance named on visits that the appliances do not have
-- severity: notice
SELECT v.appliance_key AS appliance_id, count(*) AS n_visits FROM visit AS v
ANTI JOIN appliance AS a ON a.appliance_id = v.appliance_key
WHERE v.is_appliance_proven AND (SELECT count(*) FROM appliance) > 0 GROUP BY ALL ORDER BY ALL
