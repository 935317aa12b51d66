-- a visit said to have lasted more than 24 hours: its departure is left out of account
-- severity: notice
SELECT visit_id, arrived_at, left_at FROM visit WHERE left_at > arrived_at + INTERVAL 1 DAY ORDER BY visit_id
