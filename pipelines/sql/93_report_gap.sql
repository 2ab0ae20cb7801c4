-- The answers that a home in specialist-review waits for.
-- reads: queue    writes: report_gap
-- grain: property_id, field
CREATE OR REPLACE TABLE report_gap AS
SELECT DISTINCT property_id, unnest(open_fields) AS field
FROM queue
WHERE queue = 'specialist-review'
ORDER BY property_id, field;
