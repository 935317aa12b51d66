-- How text becomes a value. Temporary macros of the loading connection; each gives NULL when the text cannot be that value.

-- The cell without outer white space; NULL when blank or a word for blank.
CREATE OR REPLACE TEMP MACRO cell(x) AS
    CASE WHEN trim(x, ' ' || chr(9) || chr(13) || chr(10) || chr(160) || chr(8199) || chr(8239) || chr(65279)) IN ('', 'NULL', 'null', 'N/A', 'n/a', '#N/A') THEN NULL
    ELSE trim(x, ' ' || chr(9) || chr(13) || chr(10) || chr(160) || chr(8199) || chr(8239) || chr(65279)) END;

-- A code as people type it: case, spaces and hyphens do not matter.
CREATE OR REPLACE TEMP MACRO folded(x) AS lower(regexp_replace(x, '[\s-]+', '_', 'g'));

CREATE OR REPLACE TEMP MACRO flag_of(x) AS
    CASE WHEN lower(x) IN ('yes', 'true', 'y', 't', '1', '1.0') THEN true
        WHEN lower(x) IN ('no', 'false', 'n', 'f', '0', '0.0') THEN false END;

-- Digits with Unicode minus, plus sign and thin spaces put right.
CREATE OR REPLACE TEMP MACRO plain_digits(x) AS
    regexp_replace(translate(x, '−–﹣－', '----'), '[\s\x{00a0}\x{2007}\x{2009}\x{202f}'']', '', 'g');

-- A comma followed by exactly three digits may be either mark; it is not guessed. A leading zero settles it.
CREATE OR REPLACE TEMP MACRO is_ambiguous(d) AS regexp_full_match(d, '[-+]?[1-9]\d{0,2},\d{3}');

CREATE OR REPLACE TEMP MACRO with_point(d) AS
    CASE WHEN NOT contains(d, ',') THEN d
        WHEN is_ambiguous(d) THEN NULL
        WHEN regexp_full_match(d, '[-+]?\d{1,3}(,\d{3})+(\.\d+)?') THEN replace(d, ',', '')
        WHEN regexp_full_match(d, '[-+]?\d{1,3}(\.\d{3})*,\d+') THEN replace(replace(d, '.', ''), ',', '.')
        WHEN regexp_full_match(d, '[-+]?\d*,\d+') THEN replace(d, ',', '.') END;

CREATE OR REPLACE TEMP MACRO finite(x) AS CASE WHEN isfinite(x) THEN x END;

CREATE OR REPLACE TEMP MACRO number_of(x) AS
    coalesce(try_cast(x AS DOUBLE), try_cast(with_point(plain_digits(x)) AS DOUBLE));

-- A number with its unit behind it in the same cell: the number, and the unit as written.
CREATE OR REPLACE TEMP MACRO leading_number(x) AS
    number_of(regexp_extract(plain_digits(x), '^[-+]?[0-9.,]+([eE][-+]?\d+)?'));
CREATE OR REPLACE TEMP MACRO trailing_unit(x) AS
    nullif(regexp_replace(plain_digits(x), '^[-+]?[0-9.,]+([eE][-+]?\d+)?', ''), '');

-- A unit as the keys of the contract's spellings are written: lower case, no spaces or full stops, " for inch marks.
CREATE OR REPLACE TEMP MACRO unit_key(x) AS
    regexp_replace(lower(translate(regexp_replace(x, '’’|′′|''''|″|“|”', '"', 'g'), '₂', '2')), '[\s.\x{00a0}\x{2007}\x{2009}\x{202f}]', '', 'g');

-- A time with an offset is that instant; without one it is the company's local time. A local time that a clock change
-- skips is moved forward by the hour; one that occurs twice is the first of the two.
CREATE OR REPLACE TEMP MACRO has_offset(x) AS regexp_matches(x, '(Z|z|[+-]\d{2}(:?\d{2})?)$') AND length(x) > 10
    AND contains(x, ':');
CREATE OR REPLACE TEMP MACRO time_of(x, zone) AS
    CASE WHEN has_offset(x) THEN timezone('UTC', try_cast(x AS TIMESTAMPTZ))
        ELSE timezone('UTC', timezone(zone, try_cast(x AS TIMESTAMP))) END;
CREATE OR REPLACE TEMP MACRO utc_time_of(x) AS
    CASE WHEN has_offset(x) THEN timezone('UTC', try_cast(x AS TIMESTAMPTZ)) ELSE try_cast(x AS TIMESTAMP) END;

CREATE OR REPLACE TEMP MACRO date_of(x) AS
    CASE WHEN regexp_full_match(x, '\d{4,}-\d{1,2}-\d{1,2}([ T]00:00(:00(\.0+)?)?)?') THEN try_cast(left(x || ' ', strpos(translate(x, 'T', ' ') || ' ', ' ') - 1) AS DATE) END;
