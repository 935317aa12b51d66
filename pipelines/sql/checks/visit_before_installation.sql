-- a visit to an appliance before the day it was installed
-- severity: notice
SELECT v.visit_id, a.appliance_id, v.arrived_on, a.installed_on
FROM visit AS v JOIN appliance AS a
    ON a.appliance_id = v.appliance_key
WHERE v.is_appliance_proven AND v.arrived_on < a.installed_on ORDER BY v.visit_id
