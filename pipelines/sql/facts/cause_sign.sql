-- one row per cause: the checks whose fault points to it
-- kept as: view
-- Common practice in the trade, without a published source.
SELECT * FROM (VALUES
    ('hose_water', ['hose']), ('hose_leak_or_kink', ['hose']), ('port_plugged', ['port']),
    ('intake_blocked', ['air_intake']), ('restrictor_missing', ['hose', 'port']),
    ('trap_fouled', ['trap_and_drain']), ('drain_frozen', ['trap_and_drain']),
    ('drain_slope_or_double_trap', ['trap_and_drain']), ('drain_pump_or_shared_drain', ['trap_and_drain']),
    ('collector_water', ['collector_box', 'trap_and_drain']),
    ('outlet_ice_or_snow', ['vent_outlet']), ('nest_or_debris', ['vent_outlet']), ('vent_too_long', ['vent_outlet']),
    ('vent_sag_water', ['vent_outlet']), ('wind_at_outlet', ['vent_outlet']),
    ('fan_worn', ['draft_fan']), ('fan_supply', ['draft_fan', 'wiring']),
    ('wiring_or_contact', ['wiring', 'voltage_across_contacts']), ('board_input', ['control_board']),
    ('diaphragm_leak', ['draft_at_switch', 'switch_at_rest']), ('setpoint_drift', ['draft_at_switch']),
    ('contact_stuck_or_resistive', ['switch_at_rest', 'voltage_across_contacts']),
    ('water_in_switch', ['draft_at_switch', 'switch_at_rest']),
    ('exchanger_restricted', ['heat_exchanger']), ('exchanger_breached', ['heat_exchanger', 'combustion']),
    ('wrong_switch_or_altitude', ['rating_label']), ('safety_bypassed', ['wiring', 'switch_at_rest'])
) AS sign (cause_code, check_codes)
