-- The worst home decides a block, since they share one roof or wall.
-- reads: home_queue    writes: block_queue
-- grain: one row per building_id that any survey names
CREATE OR REPLACE TABLE block_queue AS
SELECT
    building_id,
    CASE min(CASE queue WHEN 'fix-water-first' THEN 1 WHEN 'specialist-review' THEN 2 ELSE 3 END)
        WHEN 1 THEN 'fix-water-first' WHEN 2 THEN 'specialist-review' ELSE 'safe-to-insulate'
    END AS queue,
    count(*) AS homes,
    count(*) FILTER (queue = 'fix-water-first') AS fix_water_first,
    count(*) FILTER (queue = 'specialist-review') AS specialist_review,
    count(*) FILTER (queue = 'safe-to-insulate') AS safe_to_insulate
FROM home_queue
WHERE building_id IS NOT NULL AND queue IS NOT NULL
GROUP BY building_id
ORDER BY building_id;
