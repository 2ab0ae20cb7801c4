-- One row for each home and measure group: its worst queue, and one lane of specialist review.
-- reads: queue    writes: report_measure
-- grain: property_id, measure_group. A home with several lanes counts under the first of the list.
CREATE OR REPLACE TABLE report_measure AS
WITH ranked AS (
    SELECT
        property_id,
        measure_group,
        min(CASE queue WHEN 'fix-water-first' THEN 1 WHEN 'specialist-review' THEN 2 ELSE 3 END) AS rank,
        min(list_position(
            ['technical', 'safety', 'contradiction', 'expired', 'evidence_gap', 'inspection', 'repeat_return'],
            lane
        )) FILTER (queue = 'specialist-review') AS lane_rank,
        bool_and(len(coalesce(undecidable, [])) = 0) AS decidable,
        bool_or(len(coalesce(expired, [])) > 0) AS expired,
        -- A clearance is as good as the weakest of the parts that it clears.
        bool_and(evidence_quality IN ('observed', 'opened_up', 'measured')) AS well_seen
    FROM queue
    GROUP BY property_id, measure_group
)
SELECT
    property_id,
    measure_group,
    CASE rank
        WHEN 1 THEN 'fix-water-first' WHEN 2 THEN 'specialist-review' ELSE 'safe-to-insulate'
    END AS queue,
    CASE WHEN rank = 2 THEN coalesce(
        ['technical', 'safety', 'contradiction', 'expired', 'evidence_gap', 'inspection', 'repeat_return'][lane_rank],
        'no_lane'
    ) END AS lane,
    decidable,
    expired,
    coalesce(well_seen, FALSE) AS well_seen
FROM ranked
ORDER BY property_id, measure_group;
