-- one row per two entries that may be one technician, with why, what speaks against it, and how strong it is
-- Names are compared without case, accents, punctuation and order of words; where there is no name, the id is the name.
--   same_id       ids alike but for case, punctuation and leading zeros
--   same_name     all words alike, none of them an initial
--   same_initials all words alike, some of them an initial on both sides
--   initials      one side writes an initial where the other writes the word
--   near_name     one word is one letter off (missing, doubled, another, two swapped), the others are alike
--   fewer_names   one side leaves out a name; two words or more are alike
--   handover      one name of two is another, same branch, and one begins within 31 days of the other's last visit
-- Against: at_once, visits at two sites at the same time or as one crew; branch, different branches; name, no word alike.
-- Two visits are at the same time where one begins before the other, at another site, has ended; an end that is not on
-- record, or cannot be right, is taken to be half an hour after the beginning. A bare date has no time.
WITH person AS (
    SELECT technician_id, technician_name, branch, started_on, left_on FROM delivered.technicians
    UNION ALL BY NAME
    SELECT DISTINCT technician_id FROM delivered.visits
    WHERE technician_id NOT IN (SELECT technician_id FROM delivered.technicians)
),
folded AS (
    SELECT *, technician_name IS NOT NULL AS is_named,
        lower(strip_accents(translate(replace(lower(coalesce(technician_name, technician_id)), 'ß', 'ss'), 'øłđ', 'old'))) AS said,
        regexp_replace(upper(strip_accents(technician_id)), '[^\pL\pN]+', '.', 'g') AS dotted,
        nullif(regexp_replace(lower(strip_accents(branch)), '[^\pL\pN]+', '', 'g'), '') AS branch_key
    FROM person
),
spelled AS (
    SELECT *, list_sort(list_distinct(string_split(trim(regexp_replace(regexp_replace(said, '[''’`´]', '', 'g'),
            '[^\pL\pN]+', ' ', 'g')), ' '))) AS name_words,
        regexp_replace(regexp_replace(regexp_replace(dotted, '(^|\pL)\.', '\1', 'g'), '\.(\pL|$)', '\1', 'g'),
            '(^|[^0-9])0+([0-9])', '\1\2', 'g') AS id_key
    FROM folded
),
block AS (
    SELECT technician_id, 'id ' || id_key AS block FROM spelled WHERE id_key <> ''
    UNION ALL SELECT technician_id, 'word ' || word
    FROM (SELECT technician_id, unnest(name_words) AS word FROM spelled) WHERE length(word) >= 2
    UNION ALL SELECT technician_id, 'from ' || left(name_words[1], 3) FROM spelled
    WHERE len(name_words) = 1 AND length(name_words[1]) >= 6
    UNION ALL SELECT technician_id, 'to ' || right(name_words[1], 3) FROM spelled
    WHERE len(name_words) = 1 AND length(name_words[1]) >= 6
),
met AS (
    SELECT DISTINCT a.technician_id AS one_id, b.technician_id AS other_id
    FROM block AS a JOIN block AS b ON a.block = b.block AND a.technician_id < b.technician_id
),
compared AS (
    SELECT m.*, a.name_words AS one_words, b.name_words AS other_words, a.id_key = b.id_key AS is_same_id,
        list_intersect(a.name_words, b.name_words) AS shared,
        list_sort(list_filter(a.name_words, lambda word: NOT list_contains(b.name_words, word))) AS one_rest,
        list_sort(list_filter(b.name_words, lambda word: NOT list_contains(a.name_words, word))) AS other_rest,
        a.branch_key = b.branch_key AS is_same_branch, a.is_named AND b.is_named AS is_named,
        a.started_on AS one_started_on, b.started_on AS other_started_on
    FROM met AS m JOIN spelled AS a ON a.technician_id = m.one_id JOIN spelled AS b ON b.technician_id = m.other_id
),
seen AS (
    SELECT v.technician_id, count(*) AS n_visits, min(local_date(v.arrived_at, s.time_zone)) AS first_on,
        max(local_date(v.arrived_at, s.time_zone)) AS last_on
    FROM delivered.visits AS v CROSS JOIN setting AS s
    WHERE v.technician_id IN (SELECT one_id FROM met UNION SELECT other_id FROM met) GROUP BY v.technician_id
),
reasoned AS (
    SELECT c.*, one_seen.n_visits AS one_n_visits, one_seen.first_on AS one_first_on, one_seen.last_on AS one_last_on,
        other_seen.n_visits AS other_n_visits, other_seen.first_on AS other_first_on, other_seen.last_on AS other_last_on,
        CASE WHEN is_same_id THEN 'same_id'
            WHEN len(one_rest) = 0 AND len(other_rest) = 0
                THEN CASE WHEN len(list_filter(shared, lambda word: length(word) = 1)) > 0 THEN 'same_initials' ELSE 'same_name' END
            WHEN len(list_filter(shared, lambda word: length(word) >= 2)) >= 1 AND len(one_rest) = len(other_rest)
                AND list_transform(one_rest, lambda word: left(word, 1)) = list_transform(other_rest, lambda word: left(word, 1))
                AND (list_max(list_transform(one_rest, lambda word: length(word))) = 1
                    OR list_max(list_transform(other_rest, lambda word: length(word))) = 1) THEN 'initials'
            WHEN len(one_rest) = 1 AND len(other_rest) = 1
                AND (len(shared) >= 1 OR least(length(one_rest[1]), length(other_rest[1])) >= 6)
                AND regexp_full_match(one_rest[1] || other_rest[1], '\pL{7,}')
                AND damerau_levenshtein(one_rest[1], other_rest[1]) = 1 THEN 'near_name'
            WHEN least(len(one_rest), len(other_rest)) = 0
                AND len(list_filter(shared, lambda word: length(word) >= 2)) >= 2 THEN 'fewer_names'
            WHEN len(one_rest) = 1 AND len(other_rest) = 1 AND is_same_branch
                AND len(list_filter(shared, lambda word: length(word) >= 3)) >= 1
                AND regexp_full_match(one_rest[1] || other_rest[1], '\pL{4,}')
                AND (other_seen.first_on - one_seen.last_on BETWEEN 0 AND 31
                        AND coalesce(other_started_on <= one_seen.last_on, true)
                    OR one_seen.first_on - other_seen.last_on BETWEEN 0 AND 31
                        AND coalesce(one_started_on <= other_seen.last_on, true)) THEN 'handover'
        END AS reason
    FROM compared AS c LEFT JOIN seen AS one_seen ON one_seen.technician_id = c.one_id
    LEFT JOIN seen AS other_seen ON other_seen.technician_id = c.other_id
),
pair AS (SELECT * FROM reasoned WHERE reason IS NOT NULL),
side AS (SELECT one_id AS technician_id FROM pair UNION SELECT other_id FROM pair),
work AS (
    SELECT visit_id, site_id, technician_id, arrived_at, CASE
        WHEN left_at > arrived_at AND left_at <= arrived_at + INTERVAL 1 DAY THEN left_at
        ELSE arrived_at + INTERVAL 30 MINUTE END AS ended_at
    FROM delivered.visits CROSS JOIN setting AS s
    WHERE technician_id IN (FROM side) AND NOT is_day_only(arrived_at, s.time_zone)
),
work_hour AS (
    SELECT *, unnest(generate_series(epoch(arrived_at)::BIGINT // 3600, epoch(ended_at)::BIGINT // 3600)) AS in_hour FROM work
),
both_ways AS (SELECT one_id, other_id FROM pair UNION ALL SELECT other_id, one_id FROM pair),
clash AS (
    SELECT least(p.one_id, p.other_id) AS one_id, greatest(p.one_id, p.other_id) AS other_id, x.visit_id AS one_visit_id,
        y.visit_id AS other_visit_id
    FROM both_ways AS p JOIN work_hour AS x ON x.technician_id = p.one_id
    JOIN work AS y ON y.technician_id = p.other_id AND epoch(y.arrived_at)::BIGINT // 3600 = x.in_hour
        AND y.site_id <> x.site_id AND y.arrived_at >= x.arrived_at AND y.arrived_at < x.ended_at
),
attended AS (
    SELECT visit_id, technician_id FROM delivered.visit_crew WHERE technician_id IN (FROM side)
    UNION SELECT visit_id, technician_id FROM delivered.visits
    WHERE technician_id IN (FROM side) AND visit_id IN (SELECT visit_id FROM delivered.visit_crew)
),
together AS (
    SELECT p.one_id, p.other_id, x.visit_id AS one_visit_id, x.visit_id AS other_visit_id
    FROM pair AS p JOIN attended AS x ON x.technician_id = p.one_id
    JOIN attended AS y ON y.technician_id = p.other_id AND y.visit_id = x.visit_id
),
at_once AS (
    SELECT one_id, other_id, count(DISTINCT (least(one_visit_id, other_visit_id), greatest(one_visit_id, other_visit_id)))
        AS n_at_once, min(one_visit_id || ' and ' || other_visit_id) AS at_once_visits
    FROM (FROM clash UNION ALL FROM together) GROUP BY ALL
),
judged AS (
    SELECT p.*, coalesce(n_at_once, 0) AS n_at_once, at_once_visits,
        is_named AND len(shared) = 0 AND reason = 'same_id' AS is_other_name
    FROM pair AS p LEFT JOIN at_once USING (one_id, other_id)
)
SELECT 'technician' AS subject, NULL::VARCHAR AS site_id, one_id, other_id, reason,
    list_filter([CASE WHEN n_at_once > 0 THEN 'at_once' END, CASE WHEN NOT is_same_branch THEN 'branch' END,
        CASE WHEN is_other_name THEN 'name' END], lambda said: said IS NOT NULL) AS against,
    CASE WHEN n_at_once > 0 THEN 'speaks_against'
        WHEN coalesce(NOT is_same_branch, false) OR is_other_name OR reason = 'handover' THEN 'doubtful'
        WHEN reason IN ('same_id', 'same_name') THEN 'near_certain'
        WHEN reason = 'initials' AND greatest(count(*) OVER (PARTITION BY reason, one_id),
            count(*) OVER (PARTITION BY reason, other_id)) > 1 THEN 'doubtful'
        WHEN is_same_branch THEN 'likely' ELSE 'doubtful' END AS strength,
    n_at_once, at_once_visits, coalesce(one_n_visits, 0) AS one_n_visits, one_first_on, one_last_on,
    coalesce(other_n_visits, 0) AS other_n_visits, other_first_on, other_last_on
FROM judged
