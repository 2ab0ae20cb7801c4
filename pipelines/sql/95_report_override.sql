-- Rules that a specialist's decision in force sets aside, and the kind of its reason.
-- reads: queue, record_decision    writes: report_override
-- grain: property_id, rule_id, reason_code
CREATE OR REPLACE TABLE report_override AS
WITH used AS (
    SELECT property_id, building_part, measure_code, unnest(overridden) AS rule_id
    FROM queue
)
SELECT DISTINCT
    used.property_id,
    used.rule_id,
    coalesce(decision.reason_code, 'not recorded') AS reason_code
FROM used
LEFT JOIN record_decision AS decision
    ON decision.property_id = used.property_id
    AND decision.building_part = used.building_part
    AND decision.measure_code = used.measure_code
    AND list_contains(decision.rule_ids, used.rule_id)
    AND $as_of BETWEEN decision.decided_on AND decision.expires_on
ORDER BY used.property_id, used.rule_id, 3;
