-- a relation whose rows do not agree with those it is made from
-- severity: error
SELECT * FROM (
    SELECT 'swap_case per swap' AS what, (SELECT count(*) FROM swap_case) AS n_rows, (SELECT count(*) FROM swap) AS n_expected
    UNION ALL SELECT 'visit per accepted visit', (SELECT count(*) FROM visit), (SELECT count(*) FROM delivered.visits)
    UNION ALL SELECT 'swaps of draft faults', (SELECT sum(n_swaps) FROM draft_fault), (SELECT count(*) FROM swap)
    UNION ALL SELECT 'visits of draft faults', (SELECT sum(n_visits) FROM draft_fault), (SELECT count(*) FROM draft_visit)
    UNION ALL SELECT 'evidence per draft fault', (SELECT count(*) FROM field_evidence), (SELECT count(*) FROM draft_fault)
    UNION ALL SELECT 'cause per draft fault', (SELECT count(*) FROM root_cause), (SELECT count(*) FROM draft_fault)
    UNION ALL SELECT 'callback per draft fault', (SELECT count(*) FROM callback), (SELECT count(*) FROM draft_fault)
    UNION ALL SELECT 'visits of weeks', (SELECT sum(n_visits) FROM week_summary), (SELECT count(*) FROM visit)
    UNION ALL SELECT 'draft faults of weeks', (SELECT sum(n_draft_faults) FROM week_summary), (SELECT count(*) FROM draft_fault)
    UNION ALL SELECT 'swaps of weeks', (SELECT sum(n_swaps) FROM week_summary), (SELECT count(*) FROM swap)
) AS compared
WHERE coalesce(n_rows, 0) <> n_expected ORDER BY what
