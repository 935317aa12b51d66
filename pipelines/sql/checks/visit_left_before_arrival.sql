-- a visit that left before it arrived
-- severity: notice
SELECT visit_id, arrived_at, left_at FROM visit WHERE left_at < arrived_at ORDER BY visit_id
