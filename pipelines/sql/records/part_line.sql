-- one row per line of parts on a visit; its class from a correction, else the line, else the parts list
-- kept as: view
-- A correction without a line number is about the visit's switches: lines of any switch class, or of none.
-- The description never decides: a line without a class stays without one and is counted as such.
WITH corrected AS (
    SELECT visit_id, target, new_value FROM correction WHERE corrected_field = 'part_class'
),
classed AS (
    SELECT l.*, coalesce(l.part_class, p.part_class) AS known_class,
        CASE WHEN l.part_class IS NOT NULL THEN 'line' ELSE p.part_class_from END AS known_from,
        p.unit_cost AS listed_cost, p.currency AS listed_currency, p.rated_make_pressure_pa, p.make_tolerance_pa,
        p.has_intentional_bleed
    FROM delivered.part_lines AS l LEFT JOIN part AS p USING (part_number)
)
SELECT l.visit_id, l.line_no, l.part_number,
    coalesce(one.new_value, CASE WHEN l.known_class IS NULL OR suffix(l.known_class, '_switch') THEN every_one.new_value END,
        l.known_class) AS part_class,
    CASE WHEN one.new_value IS NOT NULL THEN 'correction'
        WHEN (l.known_class IS NULL OR suffix(l.known_class, '_switch')) AND every_one.new_value IS NOT NULL
            THEN 'correction'
        ELSE l.known_from END AS part_class_from,
    l.description, l.quantity, coalesce(l.line_status, 'fitted') AS line_status,
    coalesce(l.unit_cost, l.listed_cost) AS unit_cost,
    CASE WHEN l.unit_cost IS NOT NULL THEN l.currency ELSE coalesce(l.listed_currency, l.currency) END AS currency,
    l.unit_cost AS line_cost, l.price, l.is_under_warranty, l.removed_tag,
    l.rated_make_pressure_pa AS rated_make_pa, l.make_tolerance_pa, l.has_intentional_bleed
FROM classed AS l
LEFT JOIN corrected AS one ON one.visit_id = l.visit_id AND one.target = CAST(l.line_no AS VARCHAR)
LEFT JOIN corrected AS every_one ON every_one.visit_id = l.visit_id AND every_one.target IS NULL
