-- one row per weather station and day, with degree days to the base in the settings
-- kept as: table
-- Mean = (highest + lowest) / 2, as heating degree days are made up; a day without both temperatures stays unknown.
WITH mean AS (
    SELECT *, (min_temperature_c + max_temperature_c) / 2 AS mean_c FROM delivered.weather_days
)
SELECT m.weather_station_id, m.day_on, m.mean_c,
    CASE WHEN m.mean_c IS NOT NULL THEN greatest(0.0, s.heating_base_c - m.mean_c) END AS heating_degree_days_c,
    m.mean_c < s.heating_base_c AS is_heating_day,
    m.min_temperature_c < 0 AS is_freezing_night,
    m.snowfall_mm, m.max_gust_m_s
FROM mean AS m CROSS JOIN setting AS s
