-- one row per correction in force: the latest for a visit, a field and what it is about; a blank value takes it back
-- kept as: view
-- part_class and bench_result may say which line or tag they mean: "2:gas_switch", "T-17:good".
WITH entered AS (
    SELECT visit_id, corrected_field, reason, corrected_at, correction_id,
        CASE WHEN corrected_field IN ('part_class', 'bench_result') AND contains(new_value, ':')
            THEN trim(regexp_replace(new_value, ':[^:]*$', '')) END AS target,
        CASE WHEN corrected_field IN ('part_class', 'bench_result') THEN trim(regexp_replace(new_value, '^.*:', ''))
            ELSE trim(new_value) END AS new_value
    FROM delivered.corrections
)
SELECT visit_id, corrected_field, target, new_value, reason, corrected_at
FROM entered
QUALIFY row_number() OVER (
    PARTITION BY visit_id, corrected_field, target ORDER BY corrected_at DESC, correction_id DESC) = 1
    AND coalesce(new_value, '') <> ''
