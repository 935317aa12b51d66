-- one row per two entries on one site that may be one appliance, with why, what speaks against it, and how strong it is
-- Ids, serials and models are compared without case, accents and punctuation; in a serial O counts as 0, and I and L as 1.
--   same_serial  serials alike
--   same_id      ids alike but for case, punctuation and leading zeros
--   near_serial  one character off (missing, doubled, another, two swapped). Not: one digit another, as on units made one
--                after the other, and not serials under six characters
--   no_serial    the only two of one model on the site, a serial blank, all visits to the one before all to the other, three
--                or more together, and neither the dates of installation nor of removal tell two appliances
-- Against: serial, model, kind differ; same_day, visits to both on one day.
-- Of a site with more than 200 entries alike in one respect, that respect is not compared; no list could be gone through.
WITH entry AS (
    SELECT site_id, appliance_id, appliance_kind, model_code, serial_number, installed_on, removed_on
    FROM delivered.appliances
    UNION ALL BY NAME
    SELECT DISTINCT site_id, appliance_id FROM delivered.visits
    WHERE appliance_id IS NOT NULL AND appliance_id NOT IN (SELECT appliance_id FROM delivered.appliances)
),
several AS (
    SELECT *, regexp_replace(upper(strip_accents(serial_number)), '[^\pL\pN]+', '', 'g') AS plain_serial,
        regexp_replace(upper(strip_accents(appliance_id)), '[^\pL\pN]+', '.', 'g') AS dotted
    FROM entry WHERE site_id IN (SELECT site_id FROM entry GROUP BY site_id HAVING count(*) > 1)
),
spelled AS (
    SELECT *, CASE WHEN length(plain_serial) >= 4 AND replace(plain_serial, left(plain_serial, 1), '') <> ''
            AND plain_serial NOT IN ('NONE', 'UNKNOWN', 'UNREADABLE', 'ILLEGIBLE', 'MISSING', 'NOTAVAILABLE', 'NOPLATE',
                'NOSERIAL', 'NOTREADABLE', 'BLANK', '1234', '12345', '123456', '1234567', '12345678', '123456789')
            THEN translate(plain_serial, 'OIL', '011') END AS serial_key,
        nullif(regexp_replace(upper(strip_accents(model_code)), '[^\pL\pN]+', '', 'g'), '') AS model_key,
        regexp_replace(regexp_replace(regexp_replace(dotted, '(^|\pL)\.', '\1', 'g'), '\.(\pL|$)', '\1', 'g'),
            '(^|[^0-9])0+([0-9])', '\1\2', 'g') AS id_key
    FROM several
),
block AS (
    SELECT site_id, appliance_id, 'serial ' || serial_key AS block FROM spelled WHERE serial_key IS NOT NULL
    UNION ALL SELECT site_id, appliance_id, 'id ' || id_key FROM spelled WHERE id_key <> ''
    UNION ALL SELECT site_id, appliance_id, 'from ' || left(serial_key, 3) FROM spelled WHERE length(serial_key) >= 6
    UNION ALL SELECT site_id, appliance_id, 'to ' || right(serial_key, 3) FROM spelled WHERE length(serial_key) >= 6
    UNION ALL (SELECT site_id, appliance_id, 'model ' || model_key FROM spelled WHERE model_key IS NOT NULL
        QUALIFY count(*) OVER (PARTITION BY site_id, model_key) = 2
            AND count(serial_key) OVER (PARTITION BY site_id, model_key) < 2)
),
shared_block AS (FROM block QUALIFY count(*) OVER (PARTITION BY site_id, block) BETWEEN 2 AND 200),
met AS (
    SELECT a.site_id, a.appliance_id AS one_id, b.appliance_id AS other_id, bool_or(prefix(a.block, 'model ')) AS is_only_two
    FROM shared_block AS a JOIN shared_block AS b
        ON a.site_id = b.site_id AND a.block = b.block AND a.appliance_id < b.appliance_id
    GROUP BY ALL
),
compared AS (
    SELECT m.*, a.serial_key = b.serial_key AS is_same_serial, a.id_key = b.id_key AS is_same_id,
        a.model_key = b.model_key AS is_same_model, a.appliance_kind = b.appliance_kind AS is_same_kind,
        coalesce(least(length(a.serial_key), length(b.serial_key)) >= 6 AND damerau_levenshtein(a.serial_key, b.serial_key) = 1
            AND NOT (levenshtein(a.serial_key, b.serial_key) = 1
                AND regexp_replace(a.serial_key, '[0-9]', '9', 'g') = regexp_replace(b.serial_key, '[0-9]', '9', 'g')),
            false) AS is_near_serial,
        coalesce(a.installed_on <> b.installed_on OR a.removed_on <= b.installed_on OR b.removed_on <= a.installed_on, false)
            AS is_two_by_date,
        a.installed_on AS one_installed_on, b.installed_on AS other_installed_on, a.removed_on AS one_removed_on,
        b.removed_on AS other_removed_on
    FROM met AS m JOIN spelled AS a ON a.site_id = m.site_id AND a.appliance_id = m.one_id
    JOIN spelled AS b ON b.site_id = m.site_id AND b.appliance_id = m.other_id
),
possible AS (FROM compared WHERE is_same_serial OR is_same_id OR is_near_serial OR (is_only_two AND NOT is_two_by_date)),
visited AS (
    SELECT v.site_id, v.appliance_id, v.visit_id, local_date(v.arrived_at, s.time_zone) AS day_on
    FROM delivered.visits AS v CROSS JOIN setting AS s
    WHERE v.appliance_id IN (SELECT one_id FROM possible UNION SELECT other_id FROM possible)
),
seen AS (
    SELECT site_id, appliance_id, count(*) AS n_visits, min(day_on) AS first_on, max(day_on) AS last_on
    FROM visited GROUP BY ALL
),
same_day AS (
    SELECT p.site_id, p.one_id, p.other_id, count(DISTINCT x.day_on) AS n_same_day
    FROM possible AS p JOIN visited AS x ON x.site_id = p.site_id AND x.appliance_id = p.one_id
    JOIN visited AS y ON y.site_id = p.site_id AND y.appliance_id = p.other_id AND y.day_on = x.day_on
    GROUP BY ALL
),
reasoned AS (
    SELECT p.*, coalesce(d.n_same_day, 0) AS n_same_day, coalesce(a.n_visits, 0) AS one_n_visits, a.first_on AS one_first_on,
        a.last_on AS one_last_on, coalesce(b.n_visits, 0) AS other_n_visits, b.first_on AS other_first_on,
        b.last_on AS other_last_on,
        CASE WHEN is_same_serial THEN 'same_serial' WHEN is_same_id THEN 'same_id' WHEN is_near_serial THEN 'near_serial'
            WHEN a.n_visits + b.n_visits >= 3
                AND (a.last_on < b.first_on AND coalesce(one_removed_on > b.first_on, true)
                        AND coalesce(other_installed_on <= a.last_on, true)
                    OR b.last_on < a.first_on AND coalesce(other_removed_on > a.first_on, true)
                        AND coalesce(one_installed_on <= b.last_on, true)) THEN 'no_serial'
        END AS reason,
        list_filter([CASE WHEN NOT (is_same_serial OR is_near_serial) THEN 'serial' END,
            CASE WHEN NOT is_same_model THEN 'model' END, CASE WHEN NOT is_same_kind THEN 'kind' END,
            CASE WHEN n_same_day > 0 THEN 'same_day' END], lambda said: said IS NOT NULL) AS against
    FROM possible AS p LEFT JOIN same_day AS d USING (site_id, one_id, other_id)
    LEFT JOIN seen AS a ON a.site_id = p.site_id AND a.appliance_id = p.one_id
    LEFT JOIN seen AS b ON b.site_id = p.site_id AND b.appliance_id = p.other_id
)
SELECT 'appliance' AS subject, site_id, one_id, other_id, reason, against,
    CASE WHEN list_has_any(against, ['serial', 'model', 'kind']) OR reason = 'no_serial' THEN 'doubtful'
        WHEN reason = 'near_serial' THEN CASE WHEN is_same_model AND n_same_day = 0 THEN 'likely' ELSE 'doubtful' END
        WHEN n_same_day > 0 THEN 'likely' ELSE 'near_certain' END AS strength,
    n_same_day, one_n_visits, one_first_on, one_last_on, other_n_visits, other_first_on, other_last_on
FROM reasoned WHERE reason IS NOT NULL
