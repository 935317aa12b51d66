-- one row per swap whose removed switch was tested: the verdict of its last test
-- kept as: table by site
-- JCGM 106:2012: p = probability that the make point lies within rated +/- tolerance, for the mean of the make readings
-- with u from gauge, smallest step and repeatability. A single reading has no spread of its own; the share in the
-- settings is assumed. Handling and time can keep a switch from being good, never from being faulty.
WITH last_test AS (
    SELECT m.swap_id, b.*, count(*) OVER per_swap AS n_tests,
        first_value(b.selection IGNORE NULLS) OVER by_time AS first_selection,
        first_value(b.selection_probability IGNORE NULLS) OVER by_time AS first_probability
    FROM bench_match AS m JOIN bench_test AS b USING (bench_test_id)
    WINDOW per_swap AS (PARTITION BY m.swap_id),
        by_time AS (PARTITION BY m.swap_id ORDER BY b.tested_at, b.bench_test_id
            ROWS BETWEEN UNBOUNDED PRECEDING AND UNBOUNDED FOLLOWING)
    QUALIFY row_number() OVER (PARTITION BY m.swap_id ORDER BY b.tested_at DESC, b.bench_test_id DESC) = 1
),
read AS (
    SELECT *, list_filter([make_1_pa, make_2_pa, make_3_pa], lambda x: x IS NOT NULL) AS makes FROM last_test
),
measured AS (
    SELECT r.*, len(r.makes) AS n_make_readings, list_avg(r.makes) AS make_mean_pa,
        CASE WHEN len(r.makes) > 1 THEN list_stddev_samp(r.makes) END AS make_sd_pa
    FROM read AS r
),
compared AS (
    SELECT r.*, w.visit_id AS swap_visit_id, w.site_id, w.removed_tag AS swap_tag, w.has_intentional_bleed,
        coalesce(r.rated_make_pressure_pa, w.rated_make_pa) AS rated_pa,
        coalesce(r.make_tolerance_pa, CASE WHEN NOT w.is_tolerance_assumed THEN w.make_tolerance_pa END,
            s.assumed_tolerance_share * coalesce(r.rated_make_pressure_pa, w.rated_make_pa)) AS tolerance_pa,
        r.make_tolerance_pa IS NULL AND w.is_tolerance_assumed AS is_tolerance_assumed,
        gauge_uncertainty_pa(r.make_mean_pa, g.full_scale_pa, g.accuracy_percent_full_scale, g.accuracy_percent_reading,
            s.assumed_accuracy_share) AS u_gauge_pa,
        CASE WHEN r.make_mean_pa IS NOT NULL THEN resolution_uncertainty_pa(g.resolution_pa, s.assumed_resolution_pa) END
            AS u_resolution_pa,
        CASE WHEN r.n_make_readings = 1 THEN s.assumed_repeatability_share * r.make_mean_pa
            ELSE r.make_sd_pa / sqrt(r.n_make_readings) * few_readings_factor(r.n_make_readings) END AS u_repeatability_pa,
        local_date(r.tested_at, s.time_zone) - w.swapped_on AS days_to_bench
    FROM measured AS r CROSS JOIN setting AS s JOIN swap AS w USING (swap_id) LEFT JOIN gauge AS g USING (gauge_id)
),
budgeted AS (
    SELECT *, sqrt(u_gauge_pa ** 2 + u_resolution_pa ** 2 + u_repeatability_pa ** 2) AS u_pa FROM compared
),
judged AS (
    SELECT *, CASE WHEN u_pa > 0 THEN normal_cdf((rated_pa + tolerance_pa - make_mean_pa) / u_pa)
            - normal_cdf((rated_pa - tolerance_pa - make_mean_pa) / u_pa) END AS p_conform
    FROM budgeted
),
corrected AS (
    SELECT visit_id, target, new_value FROM correction
    WHERE corrected_field = 'bench_result'
),
decided AS (
    SELECT j.*, coalesce(one.new_value, every_one.new_value) AS corrected_verdict, CASE
        WHEN j.is_diaphragm_torn THEN 'torn' WHEN j.has_water_inside THEN 'water'
        WHEN j.contact_ohms > s.maximum_contact_ohms THEN 'contact'
        WHEN NOT j.is_leak_down_passed AND NOT coalesce(j.has_intentional_bleed, false) THEN 'leak'
        WHEN j.n_make_readings = 0 THEN 'no_reading' WHEN j.rated_pa IS NULL THEN 'no_rating'
        WHEN j.p_conform <= s.bench_faulty_probability THEN 'outside'
        WHEN j.p_conform < s.bench_good_probability THEN 'between'
        WHEN j.handling IN ('drained', 'dropped') THEN j.handling
        WHEN j.days_to_bench > s.maximum_days_to_bench THEN 'late'
        WHEN j.p_conform >= s.bench_good_probability THEN 'within' ELSE 'no_uncertainty'
    END AS finding
    FROM judged AS j CROSS JOIN setting AS s
    LEFT JOIN corrected AS one ON one.visit_id = j.swap_visit_id AND one.target = j.swap_tag
    LEFT JOIN corrected AS every_one ON every_one.visit_id = j.swap_visit_id AND every_one.target IS NULL
)
SELECT swap_id, site_id, bench_test_id, swap_tag AS removed_tag, tested_at, n_tests, n_make_readings, make_mean_pa, make_sd_pa,
    u_gauge_pa, u_resolution_pa, u_repeatability_pa, u_pa, rated_pa AS rated_make_pa, tolerance_pa AS make_tolerance_pa,
    is_tolerance_assumed, p_conform, coalesce(corrected_verdict, CASE
        WHEN finding IN ('torn', 'water', 'contact', 'leak', 'outside') THEN 'faulty'
        WHEN finding = 'within' THEN 'good' ELSE 'inconclusive' END) AS verdict,
    CASE WHEN corrected_verdict IS NOT NULL THEN 'corrected here' ELSE CASE finding
        WHEN 'torn' THEN 'diaphragm torn' WHEN 'water' THEN 'water inside'
        WHEN 'contact' THEN 'closed contacts have too much resistance' WHEN 'leak' THEN 'did not hold pressure'
        WHEN 'no_reading' THEN 'no make reading' WHEN 'no_rating' THEN 'no rated make point on record'
        WHEN 'outside' THEN 'make point outside its tolerance'
        WHEN 'between' THEN 'make point too near a limit for this gauge and number of readings'
        WHEN 'drained' THEN 'makes within tolerance, but was drained before the test'
        WHEN 'dropped' THEN 'makes within tolerance, but was dropped before the test'
        WHEN 'late' THEN 'makes within tolerance, but was tested too long after removal'
        WHEN 'within' THEN 'make point within its tolerance, nothing physical wrong'
        ELSE 'no uncertainty could be worked out' END END AS reason,
    handling, first_selection AS selection, first_probability AS selection_probability, days_to_bench,
    contact_ohms, coalesce(has_water_inside, false) AS has_water_inside
FROM decided
