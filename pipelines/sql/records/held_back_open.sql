-- one row per refused cell of a row that is held back and neither mended, dismissed nor replaced by a later version
-- kept as: view
-- row_key tells a row by its table and its cells as delivered, so that it is known again when its file comes anew. A file
-- read again under another mapping is held back by that reading alone, as only that reading is on record.
WITH superseded AS (
    SELECT DISTINCT before.load_id FROM "load" AS before JOIN "load" AS later
        ON later.table_name = before.table_name AND later.load_id > before.load_id
        AND split_part(later.file_digest, ' ', 1) = split_part(before.file_digest, ' ', 1)
        AND later.file_digest <> before.file_digest),
keyed AS (SELECT *, md5(table_name || chr(10) || CAST(raw AS VARCHAR)) AS row_key FROM held_back)
SELECT * FROM keyed
WHERE load_id NOT IN (SELECT load_id FROM superseded)
    AND NOT EXISTS (FROM held_back_settled AS s WHERE s.row_key = keyed.row_key)
