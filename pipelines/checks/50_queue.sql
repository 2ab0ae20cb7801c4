-- One row per home, part and measure; exactly three queues; a lane where, and only where, a person acts;
-- every written proposal was judged; nothing is released that is not safe.
SELECT property_id, building_part, measure_code, 'twice' AS broken
FROM queue GROUP BY property_id, building_part, measure_code HAVING count(*) > 1
UNION ALL
SELECT property_id, building_part, measure_code, 'queue' FROM queue
WHERE queue NOT IN ('safe-to-insulate', 'fix-water-first', 'specialist-review')
UNION ALL
SELECT property_id, building_part, measure_code, 'lane' FROM queue
WHERE (queue = 'specialist-review') <> (lane IS NOT NULL)
UNION ALL
SELECT property_id, building_part, measure_code, 'released' FROM queue
WHERE released AND queue <> 'safe-to-insulate'
UNION ALL
SELECT property_id, building_part, measure_code, 'not judged' FROM written_proposal
WHERE (property_id, building_part, measure_code)
    NOT IN (SELECT (property_id, building_part, measure_code) FROM queue);
