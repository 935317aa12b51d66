-- one row per refused cell of a row that is held back and neither mended, dismissed nor replaced by a later version
-- kept as: view
-- row_key tells a row by its table and its cells as delivered, so that it is known again when its file comes anew.
WITH keyed AS (SELECT *, md5(table_name || chr(10) || CAST(raw AS VARCHAR)) AS row_key FROM held_back)
SELECT * FROM keyed WHERE NOT EXISTS (FROM held_back_settled AS s WHERE s.row_key = keyed.row_key)
