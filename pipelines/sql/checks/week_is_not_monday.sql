-- a week that does not start on a Monday
-- severity: error
SELECT 'visit' AS relation, week_on FROM visit WHERE isodow(week_on) <> 1
UNION SELECT 'appliance_week', week_on FROM appliance_week WHERE isodow(week_on) <> 1
UNION SELECT 'fault_week', week_on FROM fault_week WHERE isodow(week_on) <> 1
UNION SELECT 'weather_week', week_on FROM weather_week WHERE isodow(week_on) <> 1
UNION SELECT 'week_summary', week_on FROM week_summary WHERE isodow(week_on) <> 1
ORDER BY ALL
