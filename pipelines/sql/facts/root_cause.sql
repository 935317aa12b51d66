-- one row per draft fault: the cause recorded and how well the record bears it out
-- kept as: table by site
-- The cause is the last one recorded on the fault's visits that is more than "not found"; a corrected one goes first.
-- note_words: the words of the notes that describe the cause's finding, where the tier rests on them.
-- tier_at_close leaves out bench tests, which come later: what was known when the visit closed.
WITH caused AS (
    SELECT draft_fault_id, max_by({'cause_code': cause_code, 'cause_group': cause_group,
            'contributing_cause_code': contributing_cause_code},
            visit_no + CASE WHEN cause_group <> 'none_found' THEN 1e6 ELSE 0 END
            + CASE WHEN is_cause_corrected THEN 1e9 ELSE 0 END) AS last_cause
    FROM draft_visit WHERE cause_code IS NOT NULL GROUP BY draft_fault_id
),
checked AS (
    SELECT d.draft_fault_id, count(*) FILTER (WHERE c.outcome <> 'not_done') AS n_checks_done,
        count(*) FILTER (WHERE c.outcome = 'fault') AS n_checks_fault,
        list(c.check_code) FILTER (WHERE c.outcome = 'fault') AS fault_checks
    FROM visit_check AS c JOIN draft_visit AS d USING (visit_id) GROUP BY d.draft_fault_id
),
benched AS (
    SELECT w.draft_fault_id, bool_or(b.verdict = 'faulty') AS is_faulty
    FROM bench_result AS b JOIN swap AS w USING (swap_id) GROUP BY w.draft_fault_id
),
gathered AS MATERIALIZED (
    SELECT f.draft_fault_id, f.site_id, c.last_cause.cause_code AS cause_code,
        c.last_cause.contributing_cause_code AS contributing_cause_code, c.last_cause.cause_group AS cause_group,
        coalesce(k.n_checks_done, 0) AS n_checks_done, coalesce(k.n_checks_fault, 0) AS n_checks_fault,
        c.last_cause.cause_group IS NULL OR c.last_cause.cause_group = 'none_found' AS is_none,
        coalesce(b.is_faulty, false) AS is_bench_faulty,
        CASE WHEN c.last_cause.cause_group = 'switch_itself' THEN e.evidence = 'switch_shown_faulty'
            WHEN c.last_cause.cause_group = 'electrical' THEN e.is_made_before AND e.is_made_after
            ELSE e.is_short_before AND e.is_made_after END AS is_measured,
        coalesce(list_has_any(k.fault_checks, s.check_codes), false) AS has_matching_check
    FROM draft_fault AS f JOIN field_evidence AS e USING (draft_fault_id)
    LEFT JOIN caused AS c USING (draft_fault_id) LEFT JOIN checked AS k USING (draft_fault_id)
    LEFT JOIN benched AS b USING (draft_fault_id) LEFT JOIN cause_sign AS s ON s.cause_code = c.last_cause.cause_code
),
written AS MATERIALIZED (
    -- the notes that count, kept apart from their scan so that no other note is searched; why a cause was corrected, too
    SELECT draft_fault_id, notes, lower(notes) AS low, length(notes) AS n_characters
    FROM draft_note WHERE notes IS NOT NULL
    UNION ALL
    SELECT d.draft_fault_id, c.reason, lower(c.reason), 0 FROM correction AS c JOIN draft_visit AS d USING (visit_id)
    WHERE c.corrected_field = 'cause_code'
),
heard AS MATERIALIZED (
    -- a note is read only where the tier could rest on it
    SELECT draft_fault_id, w.n_characters, CASE WHEN NOT g.is_none AND NOT g.is_measured AND NOT g.has_matching_check
            THEN note_evidence_in(g.cause_group, w.notes, w.low) END AS evidence
    FROM written AS w JOIN gathered AS g USING (draft_fault_id)
),
noted AS (
    SELECT draft_fault_id, sum(n_characters) AS n_note_characters,
        list(evidence) FILTER (len(evidence) > 0) AS evidence
    FROM heard GROUP BY draft_fault_id
),
described AS (
    SELECT g.*, n.evidence IS NOT NULL AS has_describing_note,
        array_to_string(list_sort(list_distinct(flatten(n.evidence))), '; ') AS note_words,
        CAST(coalesce(n.n_note_characters, 0) AS BIGINT) AS n_note_characters
    FROM gathered AS g LEFT JOIN noted AS n USING (draft_fault_id)
),
decided AS (
    SELECT *, CASE WHEN is_none THEN 'none' WHEN is_measured THEN 'measured'
            WHEN has_matching_check OR has_describing_note THEN 'described' ELSE 'code_only' END AS tier_at_close
    FROM described
)
SELECT draft_fault_id, site_id, cause_code, contributing_cause_code, cause_group,
    CASE WHEN cause_group = 'switch_itself' AND is_bench_faulty THEN 'measured' ELSE tier_at_close END AS tier,
    tier_at_close IN ('measured', 'described') OR coalesce(cause_group = 'switch_itself' AND is_bench_faulty, false)
        AS has_root_cause,
    CASE WHEN cause_code IS NULL THEN 'no cause recorded' WHEN is_none THEN 'recorded as not found'
        WHEN is_measured AND cause_group = 'switch_itself' THEN 'readings show the switch at fault'
        WHEN is_measured THEN 'readings before and after the repair agree with it'
        WHEN cause_group = 'switch_itself' AND is_bench_faulty THEN 'bench test shows the switch at fault'
        WHEN has_matching_check THEN 'a matching check is marked at fault'
        WHEN has_describing_note THEN 'the note describes the finding'
        ELSE 'a code alone: no reading, check or note bears it out' END AS reason,
    tier_at_close, n_checks_done, n_checks_fault, n_note_characters, note_words
FROM decided
