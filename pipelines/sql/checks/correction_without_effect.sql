-- a correction whose value is none that its field allows: the record stays as it was
-- severity: error
SELECT c.visit_id, c.corrected_field, c.entered_value AS new_value, c.corrected_at FROM correction_entered AS c
WHERE NOT c.is_allowed AND NOT EXISTS (
    SELECT 1 FROM correction_entered AS later WHERE later.is_allowed AND later.visit_id = c.visit_id
        AND later.corrected_field = c.corrected_field
        AND (later.corrected_at, later.correction_id) > (c.corrected_at, c.correction_id))
ORDER BY ALL
