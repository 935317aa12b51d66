-- a tag of a removed switch that more than one swap carries
-- severity: notice
SELECT removed_tag, count(*) AS n_swaps, min(swap_id) AS first_swap_id, max(swap_id) AS last_swap_id FROM swap
WHERE removed_tag IS NOT NULL GROUP BY removed_tag HAVING count(*) > 1 ORDER BY removed_tag
