-- The rules that fired at a home that is not screened as safe.
-- reads: queue    writes: report_reason
-- grain: property_id, rule_id
CREATE OR REPLACE TABLE report_reason AS
SELECT DISTINCT property_id, unnest(fired) AS rule_id
FROM queue
WHERE queue <> 'safe-to-insulate'
ORDER BY property_id, rule_id;
