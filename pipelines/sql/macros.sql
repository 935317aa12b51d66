-- Functions the relations share. The only .sql file that is not one SELECT.

-- Standard normal distribution function. Rational approximation 5666 of Hart et al. (1968), Computer Approximations,
-- with a continued fraction beyond |z| = 7.07; absolute error below 1e-14.
CREATE OR REPLACE MACRO normal_upper_tail(z) AS CASE
    WHEN z > 37 THEN 0.0
    WHEN z < 7.07106781186547 THEN exp(-z * z / 2)
        * ((((((3.52624965998911e-2 * z + 0.700383064443688) * z + 6.37396220353165) * z + 33.912866078383) * z
            + 112.079291497871) * z + 221.213596169931) * z + 220.206867912376)
        / (((((((8.83883476483184e-2 * z + 1.75566716318264) * z + 16.064177579207) * z + 86.7807322029461) * z
            + 296.564248779674) * z + 637.333633378831) * z + 793.826512519948) * z + 440.413735824752)
    ELSE exp(-z * z / 2) / 2.5066282746310002
        / (z + 1 / (z + 2 / (z + 3 / (z + 4 / (z + 5 / (z + 6 / (z + 7 / (z + 8 / (z + 9 / (z + 1))))))))))
END;
CREATE OR REPLACE MACRO normal_cdf(z) AS CASE
    WHEN z <= 0 THEN normal_upper_tail(-z) ELSE 1 - normal_upper_tail(z) END;

-- Factor on s / sqrt(n) that makes up for few readings: t(0.975, n - 1) / z(0.975). A bench test has three at most.
CREATE OR REPLACE MACRO few_readings_factor(n) AS CASE n
    WHEN 2 THEN 12.706204736174698 / 1.959963984540054
    WHEN 3 THEN 4.302652729749464 / 1.959963984540054
END;

-- Standard uncertainty of a gauge at a reading: half width of its limits over the root of three (JCGM 100, 4.3.7).
-- Percent of full scale and percent of reading add up; with neither on record the assumed share of the reading.
CREATE OR REPLACE MACRO gauge_uncertainty_pa(reading_pa, full_scale_pa, percent_full_scale, percent_reading, assumed_share) AS
    CASE WHEN percent_reading IS NULL AND (percent_full_scale IS NULL OR full_scale_pa IS NULL)
        THEN assumed_share * reading_pa
        ELSE coalesce(percent_full_scale * full_scale_pa, 0) / 100 + coalesce(percent_reading, 0) * reading_pa / 100
    END / sqrt(3.0);

-- Standard uncertainty of the smallest step a gauge shows (JCGM 100, F.2.2.1).
CREATE OR REPLACE MACRO resolution_uncertainty_pa(resolution_pa, assumed_pa) AS coalesce(resolution_pa, assumed_pa) / sqrt(12.0);

-- The calendar day at the company's place of a time kept in UTC.
CREATE OR REPLACE MACRO local_date(at_utc, zone) AS CAST(make_timestamptz(epoch_us(at_utc)) AT TIME ZONE zone AS DATE);

-- Whether a time kept in UTC is a bare date: midnight at the company's place or in UTC. Offsets are whole quarters of an hour,
-- so that most times need no look at the calendar.
CREATE OR REPLACE MACRO is_day_only(at_utc, zone) AS CASE
    WHEN epoch_us(at_utc) % 900000000 <> 0 THEN false
    ELSE epoch_us(at_utc) % 86400000000 = 0
        OR CAST(make_timestamptz(epoch_us(at_utc)) AT TIME ZONE zone AS TIME) = TIME '00:00:00' END;

-- Kinds of visit that are made without anything having failed.
CREATE OR REPLACE MACRO is_planned_kind(visit_kind) AS visit_kind IN ('maintenance', 'inspection', 'installation');

-- A note in lower case without the clauses that deny something ("no water in hose", "trap ok").
CREATE OR REPLACE MACRO affirmed(note) AS regexp_replace(
    lower(note),
    '[^.;,\n]*\b(no|not|non|never|without|nothing|none|isn.?t|wasn.?t|didn.?t|doesn.?t|ok|okay|fine|good|clear|clean|dry|normal|sound)\b[^.;,\n]*',
    ' ', 'g');

-- Whether an affirmed note names a finding of a group of causes. Our own modest list of trade phrases; a note that uses
-- other words is not recognised, so the tier "described" is a lower bound.
CREATE OR REPLACE MACRO describes(cause_group, text) AS CASE cause_group
    WHEN 'air_path' THEN regexp_matches(text, '(water|moisture|condensate) (\w+ )?in (the )?(\w+ )?(hose|tube|tubing)|(hose|tube|tubing) (\w+ ){0,3}(wet|full of|cracked|split|leak\w*|kink\w*|off|loose|brittle|hole|disconnected|water|pinched|torn|perished)|(cracked|split|leaking|kinked|loose|wet|brittle|pinched|torn|perished) (\w+ ){0,2}(hose|tube|tubing)|port (\w+ ){0,2}(plug\w*|block\w*|rust\w*|clog\w*|scal\w*|dirt\w*)|(plugged|blocked|clogged|rusted|dirty) (\w+ )?port|(intake|combustion air) (\w+ ){0,3}(block\w*|plug\w*|cover\w*|obstruct\w*|clog\w*|full of|leaves|nest)|(blocked|plugged|obstructed|covered|clogged) (\w+ ){0,2}intake|restrictor (\w+ ){0,2}(missing|left out|gone|absent)|missing (\w+ )?restrictor')
    WHEN 'condensate' THEN regexp_matches(text, '(trap|drain|condensate) (\w+ ){0,3}(foul\w*|plug\w*|block\w*|clog\w*|sludge\w*|slime|frozen|froze|ice|iced|backed up|backing up|full|dirty|slow|stuck|double|pitch\w*|slope\w*|fall)|(fouled|plugged|blocked|clogged|frozen|dirty|slow|double|cleared|cleaned|unplugged) (\w+ ){0,2}(trap|drain|condensate)|(water|condensate) (\w+ ){0,3}(collector|header|inducer housing)|(collector|header) (\w+ ){0,3}(water|wet|full)|condensate pump (\w+ ){0,3}(fail\w*|stuck|dead|tripped|off)|(wrong|poor|back) (pitch|slope|fall)|double.?trap')
    WHEN 'flue_path' THEN regexp_matches(text, '(outlet|vent|flue|termination|pipe) (\w+ ){0,4}(ice|iced|snow\w*|froz\w*|nest|debris|leaves|block\w*|obstruct\w*|sag\w*|belly|water|too long|elbows|wind)|(ice|snow|nest|bird|leaves|debris|sag|belly|wind) (\w+ ){0,4}(outlet|vent|flue|termination|pipe)|(blocked|obstructed|sagging|iced|frozen|snowed) (\w+ ){0,2}(outlet|vent|flue|termination|pipe)|too many elbows')
    WHEN 'draft_fan' THEN regexp_matches(text, '(draft fan|fan|inducer|blower wheel|wheel|capacitor) (\w+ ){0,4}(worn|slow|seiz\w*|bearing\w*|nois\w*|weak|fail\w*|loose|broken|low|dead|voltage|dirty|cracked|corrod\w*)|(worn|slow|weak|seized|failing|failed|broken|loose|dead) (\w+ ){0,2}(draft fan|fan|inducer|wheel|capacitor|bearing)|low (supply )?voltage')
    WHEN 'electrical' THEN regexp_matches(text, '(wire|wiring|connector|terminal|plug|pin|spade|board|harness) (\w+ ){0,4}(loose|corrod\w*|burn\w*|broken|chafed|open|fail\w*|pushed|bad|dead|intermittent|rubbed|melted)|(loose|corroded|burnt|burned|broken|chafed|bad|pushed|intermittent) (\w+ ){0,2}(wire|wiring|connector|terminal|plug|pin|spade|board|harness|connection)')
    WHEN 'switch_itself' THEN regexp_matches(text, '(diaphragm) (\w+ ){0,3}(torn|leak\w*|split|hole|ruptured)|(torn|leaking|split|ruptured) diaphragm|contacts? (\w+ ){0,3}(stuck|weld\w*|resist\w*|ohms|burn\w*|pitted|high)|(stuck|welded|burnt|pitted) (contacts?|closed|open)|switch (\w+ ){0,4}(drift\w*|out of (tolerance|spec)|stuck|water in\w*|leak\w*|made (late|high|at))|water (was )?(in|inside) (the )?switch|(set ?point|make point) (\w+ ){0,3}(drift\w*|off|high|out)')
    WHEN 'heat_exchanger' THEN regexp_matches(text, 'exchanger (\w+ ){0,4}(restrict\w*|plug\w*|block\w*|crack\w*|hole|breach\w*|soot\w*|rust\w*|fail\w*|perforat\w*)|(cracked|restricted|plugged|blocked|breached|sooted|perforated) (\w+ ){0,2}exchanger|(secondary|primary) (\w+ ){0,3}(plug\w*|restrict\w*|block\w*)')
    WHEN 'installation' THEN regexp_matches(text, 'wrong (\w+ ){0,2}switch|switch (\w+ ){0,3}(wrong|mismatch\w*)|altitude|(bypass\w*|jumper\w*|jumped|bridged|shorted) |(bypass\w*|jumper\w*|jumped|bridged)$')
    ELSE false
END;
