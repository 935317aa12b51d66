-- one row per draft fault: how long it was watched and what came back
-- kept as: view
-- Watched from completion to the callback, or to the end of the data, the appliance's removal or its next swap; links
-- are sought for 400 days ('limit'). A fault never completed has no start and is not watched. One completed after the
-- midnight that follows the last arrival on record was watched for 0 days.
WITH ended AS (
    SELECT max(arrived_on) AS data_end_on FROM visit
),
censored AS (
    SELECT c.*, CASE WHEN c.starts_on IS NOT NULL THEN least(greatest(e.data_end_on - c.starts_on, 0), 400,
            c.next_swap_on - c.starts_on,
            CASE WHEN c.appliance_removed_on >= c.starts_on THEN c.appliance_removed_on - c.starts_on END) END AS censor_days,
        greatest(e.data_end_on - c.starts_on, 0) AS data_days, c.next_swap_on - c.starts_on AS next_swap_days,
        c.appliance_removed_on - c.starts_on AS removed_days
    FROM callback_case AS c CROSS JOIN ended AS e
),
watched AS (
    SELECT *, callback_days IS NOT NULL AND callback_days <= censor_days AS is_callback,
        possible_callback_days IS NOT NULL AND possible_callback_days <= censor_days AS is_possible_callback
    FROM censored
),
timed AS (
    SELECT *, CASE WHEN is_callback THEN callback_days ELSE censor_days END AS observed_days,
        CASE WHEN is_possible_callback THEN possible_callback_days ELSE censor_days END AS possible_observed_days
    FROM watched
)
SELECT t.draft_fault_id, t.swap_id, t.site_id, t.branch, t.owner_id, t.starts_on,
    CASE WHEN t.is_callback THEN t.callback_visit_id END AS callback_visit_id,
    CASE WHEN t.is_callback THEN t.callback_days END AS callback_days,
    CASE WHEN t.is_possible_callback THEN t.possible_callback_days END AS possible_callback_days,
    t.observed_days, t.possible_observed_days,
    CASE WHEN t.is_callback OR t.starts_on IS NULL THEN NULL
        WHEN t.removed_days = t.censor_days THEN 'removed' WHEN t.next_swap_days = t.censor_days THEN 'next_swap'
        WHEN t.data_days = t.censor_days THEN 'data_end' ELSE 'limit' END AS censored_because,
    CASE WHEN till.n_unknown_days = since.n_unknown_days THEN till.n_heating_days - since.n_heating_days END
        AS heating_days_observed,
    CASE WHEN possible.n_unknown_days = since.n_unknown_days THEN possible.n_heating_days - since.n_heating_days END
        AS possible_heating_days_observed,
    t.link_class, t.reason
FROM timed AS t
LEFT JOIN heating_clock AS since ON since.weather_station_id = t.weather_station_id AND since.day_on = t.starts_on
LEFT JOIN heating_clock AS till ON till.weather_station_id = t.weather_station_id
    AND till.day_on = t.starts_on + CAST(t.observed_days AS INTEGER)
LEFT JOIN heating_clock AS possible ON possible.weather_station_id = t.weather_station_id
    AND possible.day_on = t.starts_on + CAST(t.possible_observed_days AS INTEGER)
