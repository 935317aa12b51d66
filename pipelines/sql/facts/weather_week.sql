-- one row per region and week: the weather at the station most of its sites name
-- kept as: table
-- n_days: days of the week with known temperatures; sums cover those only.
WITH station AS (
    SELECT region, weather_station_id FROM delivered.sites
    WHERE weather_station_id IS NOT NULL GROUP BY region, weather_station_id
    QUALIFY row_number() OVER (PARTITION BY region ORDER BY count(*) DESC, weather_station_id) = 1
)
SELECT s.region, date_trunc('week', w.day_on)::DATE AS week_on, sum(w.heating_degree_days_c) AS heating_degree_days_c,
    count(*) FILTER (WHERE w.is_freezing_night) AS n_freezing_nights, sum(w.snowfall_mm) AS snowfall_mm,
    count(w.heating_degree_days_c) AS n_days
FROM station AS s JOIN weather_day AS w USING (weather_station_id)
GROUP BY s.region, date_trunc('week', w.day_on)
