-- a callback, or a watched span, that ends before it starts
-- severity: error
SELECT draft_fault_id, starts_on, callback_days, observed_days, possible_observed_days FROM callback
WHERE callback_days < 0 OR possible_callback_days < 0 OR observed_days < 0 OR possible_observed_days < 0
    OR callback_days > observed_days OR possible_observed_days > observed_days OR possible_callback_days > callback_days
ORDER BY draft_fault_id
