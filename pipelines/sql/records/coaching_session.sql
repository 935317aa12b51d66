-- one row per coaching session
-- kept as: view
SELECT c.session_id, coalesce(s.kept_id, c.technician_id) AS technician_id, c.held_on, c.topic, c.coach_id, c.remark
FROM delivered.coaching_sessions AS c
LEFT JOIN entered.same_as AS s ON s.subject = 'technician' AND s.record_id = c.technician_id
