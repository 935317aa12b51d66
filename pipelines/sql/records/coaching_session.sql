-- one row per coaching session
-- kept as: view
SELECT session_id, technician_id, held_on, topic, coach_id, remark FROM delivered.coaching_sessions
