-- a visit said to follow one that is not on record, or that came after it
-- severity: notice
SELECT v.visit_id, v.arrived_at, v.follows_visit_id, earlier.arrived_at AS followed_arrived_at
FROM visit AS v LEFT JOIN visit AS earlier ON earlier.visit_id = v.follows_visit_id
WHERE v.follows_visit_id IS NOT NULL AND v.follows_visit_id <> 'none'
    AND (earlier.visit_id IS NULL OR earlier.arrived_at > v.arrived_at)
ORDER BY v.visit_id
