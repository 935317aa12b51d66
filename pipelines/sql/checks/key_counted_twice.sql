-- a key that occurs more than once in the facts
-- severity: error
SELECT 'visit' AS relation, visit_id AS key, count(*) AS n_rows FROM visit GROUP BY visit_id HAVING count(*) > 1
UNION ALL SELECT 'draft_fault', draft_fault_id, count(*) FROM draft_fault GROUP BY draft_fault_id HAVING count(*) > 1
UNION ALL SELECT 'draft_visit', visit_id, count(*) FROM draft_visit GROUP BY visit_id HAVING count(*) > 1
UNION ALL SELECT 'swap', swap_id, count(*) FROM swap GROUP BY swap_id HAVING count(*) > 1
UNION ALL SELECT 'swap_case', swap_id, count(*) FROM swap_case GROUP BY swap_id HAVING count(*) > 1
UNION ALL SELECT 'bench_result', swap_id, count(*) FROM bench_result GROUP BY swap_id HAVING count(*) > 1
UNION ALL SELECT 'bench_result by test', bench_test_id, count(*) FROM bench_result GROUP BY bench_test_id HAVING count(*) > 1
UNION ALL SELECT 'field_evidence', draft_fault_id, count(*) FROM field_evidence GROUP BY draft_fault_id HAVING count(*) > 1
UNION ALL SELECT 'root_cause', draft_fault_id, count(*) FROM root_cause GROUP BY draft_fault_id HAVING count(*) > 1
UNION ALL SELECT 'callback', draft_fault_id, count(*) FROM callback GROUP BY draft_fault_id HAVING count(*) > 1
UNION ALL SELECT 'visit_link', draft_fault_id || ' -> ' || next_visit_id, count(*) FROM visit_link
    GROUP BY draft_fault_id, next_visit_id HAVING count(*) > 1
ORDER BY ALL
