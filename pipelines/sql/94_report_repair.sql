-- One row for each repair that counts: how far it has come, how long it took, what it cost.
-- reads: record_repair, record_use    writes: report_repair
-- grain: repair_id
CREATE OR REPLACE TABLE report_repair AS
SELECT
    repair.repair_id,
    repair.property_id,
    repair.contractor_id,
    CASE
        WHEN repair.repair_verified = 'failed' THEN 'failed verification'
        WHEN repair.repair_verified = 'yes' AND repair.completed_on IS NOT NULL THEN 'verified'
        WHEN repair.completed_on IS NOT NULL THEN 'completed, not verified'
        ELSE 'ordered, not completed'
    END AS state,
    date_diff('day', repair.ordered_on, repair.completed_on) AS days,
    repair.cost_amount,
    upper(trim(repair.cost_currency)) AS cost_currency
FROM record_repair AS repair
WHERE repair.record_row NOT IN (
    SELECT record_row FROM record_use WHERE kind = 'repair' AND why_not IS NOT NULL
)
ORDER BY repair.repair_id;
