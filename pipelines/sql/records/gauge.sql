-- one row per gauge
-- kept as: view
SELECT gauge_id, full_scale_pa, resolution_pa, unit, accuracy_percent_full_scale, accuracy_percent_reading, calibrated_on
FROM delivered.gauges
