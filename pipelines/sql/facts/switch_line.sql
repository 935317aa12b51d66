-- one row per part line of a draft switch, with the reason it is no swap (NULL: it is one)
-- kept as: table by site
-- Credits cancel fits of the same job and part number made before them, the latest first; a credit with a tag cancels the
-- fit with that tag. A credit is a line with a negative quantity. A line whose own status is "credited" is its own fit
-- taken back; only where it carries the tag of another fit is it a credit for that one.
-- A switch came with a draft-fan assembly when a fan was fitted on the visit and the line says so, or has neither a tag
-- of a removed switch nor a cost of its own.
WITH line AS (
    SELECT l.*, v.site_id, v.job_id, v.arrived_at
    FROM part_line AS l JOIN visit AS v USING (visit_id)
    WHERE l.part_class = 'draft_switch'
),
fan AS (
    SELECT l.visit_id FROM part_line AS l
    WHERE l.part_class = 'draft_fan' AND l.line_status = 'fitted' AND l.visit_id IN (SELECT visit_id FROM line)
    GROUP BY l.visit_id HAVING sum(l.quantity) > 0
),
fit AS (
    SELECT * FROM line WHERE line_status = 'fitted' AND quantity > 0
),
credit AS (
    SELECT c.*, -c.quantity AS n_units,
        EXISTS (SELECT 1 FROM fit AS f WHERE f.site_id = c.site_id AND f.job_id = c.job_id
            AND f.removed_tag = c.removed_tag AND f.arrived_at <= c.arrived_at) AS has_tagged_fit
    FROM line AS c WHERE c.quantity < 0 OR c.line_status = 'credited'
),
tag_credited AS (
    SELECT DISTINCT f.visit_id, f.line_no
    FROM fit AS f JOIN credit AS c ON c.site_id = f.site_id AND c.job_id = f.job_id AND c.removed_tag = f.removed_tag
    WHERE c.arrived_at >= f.arrived_at
),
credited_job AS (SELECT DISTINCT site_id, job_id FROM credit WHERE quantity < 0 AND NOT has_tagged_fit),
open_fit AS (
    SELECT f.visit_id, f.line_no, f.quantity, f.arrived_at, f.site_id, f.job_id, f.part_number,
        sum(f.quantity) OVER latest_first AS n_up_to,
        coalesce((SELECT sum(c.n_units) FROM credit AS c
            WHERE c.quantity < 0 AND NOT c.has_tagged_fit AND c.site_id = f.site_id AND c.job_id = f.job_id
                AND c.part_number IS NOT DISTINCT FROM f.part_number
                AND (c.arrived_at, c.visit_id) >= (f.arrived_at, f.visit_id)), 0) AS n_credits_after
    FROM fit AS f SEMI JOIN credited_job USING (site_id, job_id) ANTI JOIN tag_credited USING (visit_id, line_no)
    WINDOW latest_first AS (PARTITION BY f.site_id, f.job_id, f.part_number
        ORDER BY f.arrived_at DESC, f.visit_id DESC, f.line_no DESC)
),
cancelled AS (
    -- units cancelled up to and including a line: as many as there are, but never more than credits made after it
    SELECT visit_id, line_no, quantity,
        n_up_to + least(0, min(n_credits_after - n_up_to) OVER (PARTITION BY site_id, job_id, part_number
            ORDER BY arrived_at DESC, visit_id DESC, line_no DESC)) AS n_cancelled_up_to,
        site_id, job_id, part_number, arrived_at
    FROM open_fit
),
credited AS (
    SELECT visit_id, line_no FROM tag_credited
    UNION
    SELECT visit_id, line_no FROM (
        SELECT visit_id, line_no, quantity, n_cancelled_up_to - lag(n_cancelled_up_to, 1, 0) OVER (
            PARTITION BY site_id, job_id, part_number ORDER BY arrived_at DESC, visit_id DESC, line_no DESC) AS n_cancelled
        FROM cancelled) AS counted
    WHERE n_cancelled >= quantity
)
SELECT l.visit_id, l.line_no, l.site_id, l.job_id, l.arrived_at, l.part_number, l.part_class_from, l.removed_tag, l.quantity,
    l.unit_cost, l.currency, l.is_under_warranty, l.rated_make_pa, l.make_tolerance_pa, l.has_intentional_bleed,
    CASE WHEN l.line_status = 'quoted' THEN 'quoted'
        WHEN l.line_status = 'returned' THEN 'returned unused'
        WHEN l.line_status = 'credited' OR l.quantity <= 0 THEN 'credit'
        WHEN c.visit_id IS NOT NULL THEN 'credited back'
        WHEN regexp_matches(lower(l.description), '\b(recall|service bulletin)\b') THEN 'recall'
        WHEN regexp_matches(lower(l.description), '\bupgrade\b') THEN 'upgrade'
        WHEN fan.visit_id IS NOT NULL AND (
            regexp_matches(lower(l.description), '\b(incl\w*|with|w/|part of|came in|on)\s+(\w+\s+){0,3}(assembly|assy|fan|kit)')
            OR (l.removed_tag IS NULL AND coalesce(l.line_cost, 0) = 0 AND coalesce(l.price, 0) = 0))
            THEN 'came with a draft-fan assembly'
    END AS excluded_because
FROM line AS l
LEFT JOIN credited AS c ON c.visit_id = l.visit_id AND c.line_no = l.line_no
LEFT JOIN fan ON fan.visit_id = l.visit_id
