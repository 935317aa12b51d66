-- a correction that changes nothing: its field does not allow its value, or its visit is not on record
-- severity: error
SELECT c.visit_id, c.corrected_field, c.entered_value AS new_value, c.corrected_at,
    CASE WHEN c.is_allowed THEN 'visit not on record' ELSE 'value not allowed' END AS reason
FROM correction_entered AS c
WHERE NOT (c.is_allowed AND c.has_visit) AND NOT EXISTS (
    SELECT 1 FROM correction_entered AS later WHERE later.is_allowed AND later.visit_id = c.visit_id
        AND later.corrected_field = c.corrected_field AND later.target IS NOT DISTINCT FROM c.target
        AND (later.corrected_at, later.correction_id) > (c.corrected_at, c.correction_id))
ORDER BY ALL
