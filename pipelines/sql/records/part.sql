-- one row per part number, its class taken from the number that replaces it where it has none of its own
-- kept as: table
-- A number that is only named as a replacement takes the class of the one it replaces. Ratings are never passed on.
WITH RECURSIVE listed AS (
    SELECT part_number, part_class, superseded_by FROM delivered.parts
    UNION
    SELECT superseded_by, NULL, NULL FROM delivered.parts
    WHERE superseded_by IS NOT NULL AND superseded_by NOT IN (SELECT part_number FROM delivered.parts)
),
pair AS (
    SELECT part_number, superseded_by AS other, 1 AS is_replacement FROM listed WHERE superseded_by IS NOT NULL
    UNION ALL
    SELECT superseded_by, part_number, 0 FROM listed WHERE superseded_by IS NOT NULL
),
related AS (
    SELECT part_number, part_number AS other, 0 AS n_steps, 1 AS is_replacement FROM listed WHERE part_class IS NULL
    UNION
    SELECT r.part_number, p.other, r.n_steps + 1, least(r.is_replacement, p.is_replacement)
    FROM related AS r JOIN pair AS p ON p.part_number = r.other AND p.other <> r.part_number
    WHERE r.n_steps < 10 AND (r.n_steps = 0 OR r.is_replacement = p.is_replacement)
),
found AS (
    SELECT r.part_number, l.part_class
    FROM related AS r JOIN listed AS l ON l.part_number = r.other AND l.part_class IS NOT NULL
    QUALIFY row_number() OVER (PARTITION BY r.part_number ORDER BY r.is_replacement DESC, r.n_steps, l.part_number) = 1
)
SELECT l.part_number,
    coalesce(l.part_class, f.part_class) AS part_class,
    CASE WHEN l.part_class IS NOT NULL THEN 'parts list' WHEN f.part_class IS NOT NULL THEN 'superseded' END
        AS part_class_from,
    p.rated_make_pressure_pa, p.rated_break_pressure_pa, p.make_tolerance_pa, p.maximum_pressure_pa,
    p.has_intentional_bleed, p.is_adjustable, p.superseded_by, p.unit_cost, p.currency
FROM listed AS l LEFT JOIN found AS f USING (part_number) LEFT JOIN delivered.parts AS p USING (part_number)
