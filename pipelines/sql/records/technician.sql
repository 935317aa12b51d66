-- one row per technician
-- kept as: view
SELECT technician_id, technician_name, branch, started_on, left_on FROM delivered.technicians
