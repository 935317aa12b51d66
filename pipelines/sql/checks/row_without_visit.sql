-- rows of a table whose visit is not on record
-- severity: notice
SELECT 'part_lines' AS table_name, visit_id, count(*) AS n_rows
FROM delivered.part_lines ANTI JOIN visit USING (visit_id) GROUP BY visit_id
UNION ALL SELECT 'readings', visit_id, count(*) FROM delivered.readings ANTI JOIN visit USING (visit_id) GROUP BY visit_id
UNION ALL SELECT 'checks', visit_id, count(*) FROM delivered.checks ANTI JOIN visit USING (visit_id) GROUP BY visit_id
UNION ALL SELECT 'visit_crew', visit_id, count(*) FROM delivered.visit_crew ANTI JOIN visit USING (visit_id) GROUP BY visit_id
UNION ALL SELECT 'warranty_claims', visit_id, count(*)
    FROM delivered.warranty_claims ANTI JOIN visit USING (visit_id) GROUP BY visit_id
UNION ALL SELECT 'corrections', visit_id, count(*)
    FROM delivered.corrections ANTI JOIN visit USING (visit_id) GROUP BY visit_id
ORDER BY ALL
