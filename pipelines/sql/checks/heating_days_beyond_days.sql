-- a callback watched for more heating days than days
-- severity: error
SELECT draft_fault_id, observed_days, heating_days_observed, possible_observed_days, possible_heating_days_observed
FROM callback
WHERE heating_days_observed > observed_days OR possible_heating_days_observed > possible_observed_days
    OR heating_days_observed < 0 OR possible_heating_days_observed < 0
ORDER BY draft_fault_id
