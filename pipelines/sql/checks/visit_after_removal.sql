-- a visit to an appliance after the day it was taken out
-- severity: notice
SELECT v.visit_id, a.appliance_id, v.arrived_on, a.removed_on
FROM visit AS v JOIN appliance AS a
    ON a.appliance_id = v.appliance_key
WHERE v.is_appliance_proven AND v.arrived_on > a.removed_on ORDER BY v.visit_id
