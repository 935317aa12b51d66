-- a visit to an appliance after the day it was taken out
-- severity: notice
SELECT v.visit_id, v.appliance_id, v.arrived_on, a.removed_on
FROM visit AS v JOIN appliance AS a USING (appliance_id) WHERE v.arrived_on > a.removed_on ORDER BY v.visit_id
