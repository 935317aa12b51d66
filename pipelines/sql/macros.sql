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
