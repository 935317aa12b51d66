-- one row per correction in force: the latest allowed one for a visit, a field and the line or tag it is about
-- kept as: view
-- A value its field does not allow leaves the record as it was; an empty one takes back what was corrected before. An owner
-- who a person decided is the same as another technician stands under the id that was kept.
SELECT c.visit_id, c.corrected_field, c.target, coalesce(s.kept_id, c.new_value) AS new_value, c.reason, c.corrected_by,
    c.corrected_at
FROM correction_entered AS c
LEFT JOIN entered.same_as AS s
    ON s.subject = 'technician' AND c.corrected_field = 'owner' AND s.record_id = c.new_value
WHERE c.is_allowed AND c.has_visit
QUALIFY row_number() OVER (
    PARTITION BY c.visit_id, c.corrected_field, c.target ORDER BY c.corrected_at DESC, c.correction_id DESC) = 1
    AND c.new_value <> ''
