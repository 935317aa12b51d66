-- a load whose rows do not add up: accepted + held back + exact duplicates must be the rows read
-- severity: error
SELECT load_id, file_name, table_name, n_rows, n_accepted, n_held_back, n_duplicates
FROM "load"
WHERE n_rows <> n_accepted + n_held_back + n_duplicates OR n_revised > n_accepted
    OR least(n_rows, n_accepted, n_held_back, n_duplicates, n_revised) < 0
ORDER BY load_id, table_name
