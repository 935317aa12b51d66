-- one row per correction in force: the latest allowed one for a visit, a field and the line or tag it is about
-- kept as: view
-- A value its field does not allow leaves the record as it was; an empty one takes back what was corrected before.
SELECT visit_id, corrected_field, target, new_value, reason, corrected_by, corrected_at
FROM correction_entered WHERE is_allowed
QUALIFY row_number() OVER (
    PARTITION BY visit_id, corrected_field, target ORDER BY corrected_at DESC, correction_id DESC) = 1
    AND new_value <> ''
