-- a technician named on visits that the technicians do not have
-- severity: notice
SELECT v.technician_id, count(*) AS n_visits FROM visit AS v ANTI JOIN technician AS t USING (technician_id)
WHERE (SELECT count(*) FROM technician) > 0 GROUP BY ALL ORDER BY ALL
