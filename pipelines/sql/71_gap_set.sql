-- The sets of fields that together would settle a home, most homes first: fields overlap, so a
-- list of single fields would hide what one visit can release.
-- reads: queue    writes: gap_set
-- grain: one row per (fields, measure_group)
CREATE OR REPLACE TABLE gap_set AS
SELECT
    array_to_string(missing, ', ') AS fields,
    len(missing) AS fields_n,
    measure_group,
    count(DISTINCT property_id) AS homes
FROM queue
WHERE asks_for_evidence AND len(missing) > 0
GROUP BY ALL
ORDER BY homes DESC, fields_n, fields, measure_group;
