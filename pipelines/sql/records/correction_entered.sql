-- one row per correction as entered, with the value it means, whether its field allows it and whether its visit is on record
-- kept as: table
-- Codes may be written as people write them: "Trap Fouled", "draft-switch". part_class and bench_result may say which line
-- or tag they mean: "2:gas_switch", "T-17:good". A link goes to another visit of the same site, or is "none". An empty
-- value takes the correction before it back. One entered here holds against a delivered one of the same id. A visit that is
-- numbered otherwise by now is meant by its new number.
WITH given AS (
    SELECT * EXCLUDE (load_id, row_no), false AS is_own FROM delivered.corrections
    WHERE correction_id NOT IN (SELECT correction_id FROM entered.corrections)
    UNION ALL BY NAME SELECT *, true AS is_own FROM entered.corrections
),
numbered AS (
    SELECT g.* REPLACE (coalesce(r.new_visit_id, g.visit_id) AS visit_id,
        coalesce(CASE WHEN g.corrected_field = 'link' THEN other.new_visit_id END, g.new_value) AS new_value)
    FROM given AS g LEFT JOIN renumbered_visit AS r ON r.visit_id = g.visit_id
    LEFT JOIN renumbered_visit AS other ON other.visit_id = trim(g.new_value)
),
divided AS (
    SELECT *, CASE WHEN corrected_field IN ('part_class', 'bench_result') AND contains(new_value, ':')
            THEN trim(regexp_replace(new_value, ':[^:]*$', '')) END AS target,
        CASE WHEN corrected_field IN ('part_class', 'bench_result') THEN trim(regexp_replace(new_value, '^.*:', ''))
            ELSE trim(new_value) END AS entered_value
    FROM numbered
),
meant AS (
    SELECT * EXCLUDE (new_value, entered_value), new_value AS entered_value,
        coalesce(CASE WHEN corrected_field = 'owner' OR (corrected_field = 'link' AND lower(entered_value) <> 'none')
            THEN entered_value ELSE regexp_replace(lower(entered_value), '[\s-]+', '_', 'g') END, '') AS new_value
    FROM divided
),
link AS (
    SELECT DISTINCT m.correction_id FROM meant AS m
    JOIN delivered.visits AS v ON v.visit_id = m.visit_id
    JOIN delivered.visits AS other ON other.visit_id = m.new_value AND other.site_id = v.site_id
    WHERE m.corrected_field = 'link' AND m.new_value <> m.visit_id
)
SELECT m.correction_id, m.visit_id, m.corrected_field, m.target, m.new_value, m.entered_value, m.reason, m.corrected_by,
    m.corrected_at, m.is_own,
    m.new_value = '' OR CASE m.corrected_field
        WHEN 'link' THEN m.new_value = 'none' OR m.correction_id IN (FROM link)
        WHEN 'owner' THEN m.new_value IN (SELECT technician_id FROM delivered.technicians)
            OR (SELECT count(*) FROM delivered.technicians) = 0
        WHEN 'part_class' THEN (m.target IS NULL OR regexp_full_match(m.target, '\d+'))
            AND m.new_value IN (SELECT new_value FROM allowed_correction WHERE corrected_field = 'part_class')
        ELSE EXISTS (SELECT 1 FROM allowed_correction AS a
            WHERE a.corrected_field = m.corrected_field AND a.new_value = m.new_value) END AS is_allowed,
    m.visit_id IN (SELECT visit_id FROM delivered.visits WHERE visit_id IN (SELECT visit_id FROM meant)) AS has_visit
FROM meant AS m
