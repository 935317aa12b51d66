-- part lines without a class whose words speak of a switch: they are not counted, and may be swaps
-- severity: notice
SELECT part_number, description, count(*) AS n_lines FROM part_line
WHERE part_class IS NULL AND regexp_matches(lower(description), '\b(switch|sw|proving|p/s)\b')
GROUP BY part_number, description ORDER BY ALL
