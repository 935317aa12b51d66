-- a correction whose value is none that its field allows
-- severity: error
SELECT c.visit_id, c.corrected_field, c.new_value FROM correction AS c
WHERE (c.corrected_field = 'cause_code' AND c.new_value NOT IN (SELECT cause_code FROM cause))
    OR (c.corrected_field = 'callback_class'
        AND c.new_value NOT IN ('callback', 'planned_return', 'maintenance', 'other_function', 'uncertain'))
    OR (c.corrected_field = 'bench_result' AND c.new_value NOT IN ('good', 'faulty', 'inconclusive'))
    OR (c.corrected_field = 'part_class' AND c.new_value NOT IN ('draft_switch', 'gas_switch', 'water_switch',
        'refrigerant_switch', 'hose', 'restrictor', 'trap', 'draft_fan', 'control_board', 'other'))
    OR (c.corrected_field = 'link' AND c.new_value <> 'none' AND c.new_value NOT IN (SELECT visit_id FROM visit))
    OR (c.corrected_field = 'owner' AND c.new_value NOT IN (SELECT technician_id FROM technician)
        AND (SELECT count(*) FROM technician) > 0)
ORDER BY ALL
