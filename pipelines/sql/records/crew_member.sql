-- one row per technician in the crew of a visit; a technician under two entries that a person joined is one
-- kept as: view
SELECT c.visit_id, coalesce(s.kept_id, c.technician_id) AS technician_id, bool_or(c.is_lead) AS is_lead
FROM delivered.visit_crew AS c
LEFT JOIN entered.same_as AS s ON s.subject = 'technician' AND s.record_id = c.technician_id
GROUP BY ALL
