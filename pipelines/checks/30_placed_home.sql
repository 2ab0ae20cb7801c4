-- Placing neither loses nor doubles a home.
SELECT coalesce(home.property_id, placed.property_id) AS property_id
FROM home FULL JOIN placed_home AS placed USING (property_id)
WHERE home.property_id IS NULL OR placed.property_id IS NULL
UNION ALL
SELECT property_id FROM placed_home GROUP BY property_id HAVING count(*) > 1;
