-- For each missing field: rows it holds, and rows that it alone holds.
-- reads: queue    writes: gap
-- grain: one row per (field, measure_group)
CREATE OR REPLACE TABLE gap AS
WITH asked AS (
    SELECT property_id, measure_group, missing, unnest(missing) AS field
    FROM queue
    WHERE asks_for_evidence
)
SELECT
    field,
    measure_group,
    count(DISTINCT property_id) AS homes_blocked,
    count(DISTINCT property_id) FILTER (len(missing) = 1) AS alone
FROM asked
GROUP BY field, measure_group
ORDER BY homes_blocked DESC, field, measure_group;
