-- one row per technician; entries that a person decided are one and the same are one row
-- kept as: view
-- The kept entry's details hold; what it leaves blank comes from the others, and the first day is the earliest of them.
WITH named AS (
    SELECT coalesce(s.kept_id, t.technician_id) AS technician_id, s.kept_id IS NULL AS is_kept,
        t.technician_name, t.branch, t.started_on, t.left_on
    FROM delivered.technicians AS t
    LEFT JOIN entered.same_as AS s ON s.subject = 'technician' AND s.record_id = t.technician_id
)
SELECT technician_id,
    coalesce(max(technician_name) FILTER (is_kept), max(technician_name)) AS technician_name,
    coalesce(max(branch) FILTER (is_kept), max(branch)) AS branch, min(started_on) AS started_on,
    CASE WHEN bool_or(is_kept) THEN max(left_on) FILTER (is_kept) ELSE max(left_on) END AS left_on
FROM named GROUP BY technician_id
