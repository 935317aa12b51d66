-- one row per swap: a draft switch fitted, per appliance, visit and tag of the switch taken out
-- kept as: table by site
-- The rated make point is the plate's, else the fitted part's. Without a tolerance on record the share in the settings
-- is assumed and marked.
WITH fitted AS (
    SELECT l.visit_id, l.removed_tag, min(l.line_no) AS line_no, min_by(l.part_number, l.line_no) AS part_number,
        max(l.unit_cost) AS unit_cost, max_by(l.currency, l.unit_cost) AS currency,
        bool_or(l.is_under_warranty) AS is_under_warranty, min_by(l.rated_make_pa, l.line_no) AS rated_make_pa,
        min_by(l.make_tolerance_pa, l.line_no) AS make_tolerance_pa,
        bool_or(l.has_intentional_bleed) AS has_intentional_bleed
    FROM switch_line AS l WHERE l.excluded_because IS NULL
    GROUP BY l.visit_id, l.removed_tag
),
numbered AS (
    SELECT *, row_number() OVER (PARTITION BY visit_id ORDER BY line_no) AS swap_no FROM fitted
)
SELECT f.visit_id || '#' || f.swap_no AS swap_id, f.visit_id, d.draft_fault_id, d.job_id, d.site_id, d.appliance_key,
    d.technician_id, first_visit.technician_id AS diagnosed_by, d.arrived_at AS swapped_at, d.arrived_on AS swapped_on,
    f.part_number, f.removed_tag, f.unit_cost, f.currency, f.is_under_warranty, f.has_intentional_bleed,
    coalesce(a.rated_make_pressure_pa, f.rated_make_pa) AS rated_make_pa,
    coalesce(CASE WHEN a.rated_make_pressure_pa IS NOT NULL THEN a.make_tolerance_pa END, f.make_tolerance_pa,
        s.assumed_tolerance_share * coalesce(a.rated_make_pressure_pa, f.rated_make_pa)) AS make_tolerance_pa,
    coalesce(CASE WHEN a.rated_make_pressure_pa IS NOT NULL THEN a.make_tolerance_pa END, f.make_tolerance_pa) IS NULL
        AS is_tolerance_assumed,
    d.n_minutes
FROM numbered AS f CROSS JOIN setting AS s
JOIN draft_visit AS d USING (visit_id)
JOIN draft_visit AS first_visit ON first_visit.visit_id = d.draft_fault_id
LEFT JOIN delivered.appliances AS a ON a.appliance_id = d.appliance_key AND a.site_id = d.site_id
