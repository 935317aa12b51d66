-- one row per coaching session, as delivered or as entered here
-- kept as: view
-- One entered here that comes in again with a file, out of an export, is the same session.
WITH given AS (
    SELECT * EXCLUDE (load_id, row_no) FROM delivered.coaching_sessions
    WHERE session_id NOT IN (SELECT session_id FROM entered.coaching_sessions)
    UNION ALL BY NAME SELECT * FROM entered.coaching_sessions
)
SELECT c.session_id, coalesce(s.kept_id, c.technician_id) AS technician_id, c.held_on, c.topic, c.coach_id, c.remark
FROM given AS c
LEFT JOIN entered.same_as AS s ON s.subject = 'technician' AND s.record_id = c.technician_id
