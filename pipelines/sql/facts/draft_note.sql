-- one row per visit of a draft fault: its note
-- kept as: table by site
-- Notes are long, and only these are ever searched: kept apart, they are found without reading all the others.
SELECT d.visit_id, d.draft_fault_id, d.site_id, v.notes
FROM delivered.visits AS v JOIN draft_visit AS d USING (visit_id)
