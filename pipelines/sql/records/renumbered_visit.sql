-- one row per visit number that no visit on record has any more, and the number that the same visit has now
-- kept as: table
-- A file read again under another mapping may number its visits otherwise. What people entered goes with the visit: the one
-- with the same site, technician and arrival, where only one has them.
WITH named AS (
    SELECT visit_id FROM delivered.corrections UNION SELECT visit_id FROM entered.corrections
    UNION SELECT trim(new_value) FROM delivered.corrections WHERE corrected_field = 'link'
    UNION SELECT trim(new_value) FROM entered.corrections WHERE corrected_field = 'link'
    UNION SELECT visit_id FROM entered.bench_tests WHERE visit_id IS NOT NULL
),
gone AS (
    SELECT visit_id, site_id, technician_id, arrived_at FROM delivered_history.visits
    WHERE replaced_by_load_id > 0 AND visit_id IN (FROM named) AND visit_id NOT IN (SELECT visit_id FROM delivered.visits WHERE visit_id IN (FROM named))
    QUALIFY row_number() OVER (PARTITION BY visit_id ORDER BY replaced_by_load_id DESC, load_id DESC) = 1
)
SELECT g.visit_id, min(v.visit_id) AS new_visit_id
FROM gone AS g JOIN delivered.visits AS v USING (site_id, technician_id, arrived_at)
GROUP BY g.visit_id HAVING count(*) = 1
