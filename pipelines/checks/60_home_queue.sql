-- One row a home, and no home better than any of its parts.
SELECT property_id, 'twice' AS broken FROM home_queue GROUP BY property_id HAVING count(*) > 1
UNION ALL
SELECT DISTINCT queue.property_id, 'better than a part'
FROM queue JOIN home_queue AS home USING (property_id)
WHERE (queue.queue = 'fix-water-first' AND home.queue <> 'fix-water-first')
    OR (queue.queue = 'specialist-review' AND home.queue = 'safe-to-insulate');
