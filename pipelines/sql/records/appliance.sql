-- one row per appliance
-- kept as: view
SELECT appliance_id, site_id, appliance_kind, is_condensing, installed_on, removed_on, model_code, serial_number,
    rated_make_pressure_pa AS rated_make_pa, rated_break_pressure_pa AS rated_break_pa, make_tolerance_pa
FROM delivered.appliances
