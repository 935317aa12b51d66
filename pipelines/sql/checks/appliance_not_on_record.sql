-- an appliance named on visits that the appliances do not have
-- severity: notice
SELECT v.appliance_id, count(*) AS n_visits FROM visit AS v ANTI JOIN appliance AS a USING (appliance_id)
WHERE v.appliance_id IS NOT NULL AND (SELECT count(*) FROM appliance) > 0 GROUP BY ALL ORDER BY ALL
