-- one row per appliance; of entries that a person decided are one and the same, the kept one
-- kept as: view
SELECT a.appliance_id, a.site_id, a.appliance_kind, a.is_condensing, a.installed_on, a.removed_on, a.model_code,
    a.serial_number, a.rated_make_pressure_pa AS rated_make_pa, a.rated_break_pressure_pa AS rated_break_pa,
    a.make_tolerance_pa
FROM delivered.appliances AS a
LEFT JOIN entered.same_as AS s ON s.subject = 'appliance' AND s.record_id = a.appliance_id AND s.site_id = a.site_id
WHERE s.kept_id IS NULL
