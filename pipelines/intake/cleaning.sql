-- How text becomes a value. Temporary macros of the loading connection; each gives NULL when the text cannot be that
-- value. They are applied in steps, one column a step, so that nothing is worked out twice.

-- The cell without outer white space; NULL when blank or a word for blank.
CREATE OR REPLACE TEMP MACRO stripped(x) AS
    trim(x, ' ' || chr(9) || chr(10) || chr(13) || chr(160) || chr(8199) || chr(8239) || chr(65279));
-- Exports put an apostrophe before what a spreadsheet would run, =1+1 or -0.82; what comes back that way loses it again.
CREATE OR REPLACE TEMP MACRO unguarded(x) AS
    CASE WHEN starts_with(x, '''') AND regexp_matches(x, '^''[=+@＝＋－＠-]') THEN substr(x, 2) ELSE x END;
CREATE OR REPLACE TEMP MACRO cell(x) AS
    CASE WHEN stripped(x) IN ('', 'NULL', 'null', 'N/A', 'n/a', '#N/A') THEN NULL ELSE unguarded(stripped(x)) END;

-- Characters that plain text does not hold; free text may have tabs and line breaks, identifiers may not.
CREATE OR REPLACE TEMP MACRO has_control(x) AS regexp_matches(x, '[\x00-\x08\x0b\x0c\x0e-\x1f\x7f]');
CREATE OR REPLACE TEMP MACRO has_break(x) AS regexp_matches(x, '[\t\r\n]');

-- A code as people type it: case, spaces and hyphens do not matter.
CREATE OR REPLACE TEMP MACRO folded(x) AS
    lower(regexp_replace(cell(x), '[\s\x{00a0}\x{2007}\x{2009}\x{202f}-]+', '_', 'g'));

CREATE OR REPLACE TEMP MACRO flag_of(x) AS
    CASE WHEN lower(x) IN ('yes', 'true', 'y', 't', 'x', '1', '1.0') THEN true
        WHEN lower(x) IN ('no', 'false', 'n', 'f', '0', '0.0') THEN false END;

-- Digits with Unicode minus put right and spaces between digits taken out; a sign may stand apart.
CREATE OR REPLACE TEMP MACRO plain_digits(x) AS
    regexp_replace(translate(x, '−–﹣－', '----'), '[\s\x{00a0}\x{2007}\x{2009}\x{202f}]', '', 'g');

-- The number a cell begins with, and what stands behind it.
CREATE OR REPLACE TEMP MACRO leading_digits(d) AS
    regexp_extract(d, '^[-+]?(\d[\d.,'']*|[.,]\d+)([eE][-+]?\d+)?');
CREATE OR REPLACE TEMP MACRO behind_digits(d) AS
    nullif(regexp_replace(d, '^[-+]?(\d[\d.,'']*\d|\d|[.,]\d+)\.?([eE][-+]?\d+)?', ''), '');

-- One comma followed by exactly three digits may be either mark; it is not guessed. A leading zero settles it.
CREATE OR REPLACE TEMP MACRO is_ambiguous(d) AS regexp_full_match(d, '[-+]?[1-9]\d{0,2},\d{3}');

CREATE OR REPLACE TEMP MACRO with_point(d) AS
    CASE WHEN is_ambiguous(d) THEN NULL
        WHEN regexp_full_match(d, '[-+]?(\d+\.?\d*|\.\d+)([eE][-+]?\d+)?') THEN d
        WHEN regexp_full_match(d, '[-+]?[1-9]\d{0,2}(,\d{3})+(\.\d*)?') THEN replace(d, ',', '')
        WHEN regexp_full_match(d, '[-+]?\d{1,3}(\.\d{3})+(,\d*)?') THEN replace(replace(d, '.', ''), ',', '.')
        WHEN regexp_full_match(d, '[-+]?\d{1,3}(''\d{3})+(\.\d*)?') THEN replace(d, '''', '')
        WHEN regexp_full_match(d, '[-+]?(\d+,\d*|,\d+)([eE][-+]?\d+)?') THEN replace(d, ',', '.') END;

CREATE OR REPLACE TEMP MACRO number_of(x, digits) AS
    coalesce(try_cast(x AS DOUBLE), try_cast(with_point(digits) AS DOUBLE));

-- A unit as the keys of the contract's spellings are written: lower case, no spaces or full stops, " for inch marks.
CREATE OR REPLACE TEMP MACRO unit_key(x) AS
    lower(regexp_replace(translate(regexp_replace(x, '’’|''''|′′|″|“|”', '"', 'g'), '₂²µ', '22μ'),
        '[\s.\x{00a0}\x{2007}\x{2009}\x{202f}]', '', 'g'));

-- A local time as UTC. What the calendar cannot convert lies far outside any limit and is given back as it stands.
CREATE OR REPLACE TEMP MACRO utc_of(naive, zone) AS coalesce(try(timezone('UTC', timezone(zone, naive))), naive);

-- A time with an offset is that instant; without one it is the company's local time. A local time that a clock change
-- skips is moved forward by the gap; of one that occurs twice the later (standard time) is meant.
CREATE OR REPLACE TEMP MACRO joined_offset(x) AS
    regexp_replace(translate(x, '−–﹣－', '----'), '\s+([zZ]|[+-]\d{2}(:?\d{2})?)$', '\1');
CREATE OR REPLACE TEMP MACRO has_offset(x) AS
    contains(x, ':') AND regexp_matches(x, '\d{1,2}:\d{1,2}.*([zZ]|UTC|[+−–﹣－-]\d{2}(:?\d{2})?)$');
-- The cast to TIMESTAMP drops what follows the time, such as PM, and would be 12 hours off; the one with a zone does not.
CREATE OR REPLACE TEMP MACRO is_bare_time(x) AS
    NOT regexp_matches(x, '\d\s*[A-SU-Za-su-z]') AND try_cast(x AS TIMESTAMPTZ) IS NOT NULL;
CREATE OR REPLACE TEMP MACRO time_of(x, zone) AS
    CASE WHEN has_offset(x) THEN try(timezone('UTC', try_cast(joined_offset(x) AS TIMESTAMPTZ)))
        WHEN is_bare_time(x) THEN utc_of(try_cast(x AS TIMESTAMP), zone) END;

-- The same for text as machines write it: 2025-11-03T14:20:00+00:00 and 2025-11-03T14:20:00 without further looking.
CREATE OR REPLACE TEMP MACRO is_quick_utc(x) AS
    x[17] = ':' AND (strlen(x) = 25 AND ends_with(x, '+00:00') OR strlen(x) = 20 AND ends_with(x, 'Z'));
CREATE OR REPLACE TEMP MACRO quick_time_of(x, zone) AS
    CASE WHEN is_quick_utc(x) THEN try_cast(x AS TIMESTAMP)
        WHEN strlen(x) = 19 AND x[17] = ':' THEN utc_of(try_cast(x AS TIMESTAMP), zone)
        ELSE time_of(x, zone) END;
CREATE OR REPLACE TEMP MACRO quick_utc_time_of(x) AS
    CASE WHEN is_quick_utc(x) OR strlen(x) = 19 AND x[17] = ':' THEN try_cast(x AS TIMESTAMP)
        ELSE time_of(x, 'UTC') END;
