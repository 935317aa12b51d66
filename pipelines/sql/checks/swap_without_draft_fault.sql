-- a swap that belongs to no draft fault
-- severity: error
SELECT s.swap_id, s.draft_fault_id FROM swap AS s LEFT JOIN draft_fault AS f USING (draft_fault_id)
WHERE f.draft_fault_id IS NULL ORDER BY s.swap_id
