-- What earlier visits to a foamed home-part came to: opened already, or refused.
-- reads: inspection_told    writes: roof_visit
-- grain: one row per property_id, building_part
CREATE OR REPLACE TABLE roof_visit AS
SELECT
    property_id, building_part,
    bool_or(outcome_status IN ('completed', 'partial', 'not_foam')) AS opened,
    bool_or(outcome_status IN ('refused', 'no_access')) AS refused_before
FROM inspection_told
WHERE outcome_status IS NOT NULL
GROUP BY ALL
ORDER BY ALL;
