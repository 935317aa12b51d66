-- one row per weather station and day: heating days counted from its first day on record
-- kept as: table
-- A day without temperatures is taken to be as the last known one, for three days at most; then it is unknown.
WITH span AS (
    SELECT weather_station_id, min(day_on) AS first_on, max(day_on) AS last_on FROM weather_day GROUP BY weather_station_id
),
grid AS (
    SELECT weather_station_id, CAST(unnest(generate_series(first_on, last_on, INTERVAL 1 DAY)) AS DATE) AS day_on FROM span
),
filled AS (
    SELECT g.weather_station_id, g.day_on, coalesce(
        w.is_heating_day,
        last_value(w.is_heating_day IGNORE NULLS) OVER (PARTITION BY g.weather_station_id ORDER BY g.day_on
            ROWS BETWEEN 3 PRECEDING AND CURRENT ROW)) AS is_heating_day
    FROM grid AS g LEFT JOIN weather_day AS w USING (weather_station_id, day_on)
)
SELECT weather_station_id, day_on,
    count(*) FILTER (WHERE is_heating_day) OVER by_day AS n_heating_days,
    count(*) FILTER (WHERE is_heating_day IS NULL) OVER by_day AS n_unknown_days
FROM filled
WINDOW by_day AS (PARTITION BY weather_station_id ORDER BY day_on)
