-- a visit to an appliance before the day it was installed
-- severity: notice
SELECT v.visit_id, v.appliance_id, v.arrived_on, a.installed_on
FROM visit AS v JOIN appliance AS a USING (appliance_id) WHERE v.arrived_on < a.installed_on ORDER BY v.visit_id
