-- Every inspected home-part stands once.
SELECT property_id, building_part, count(*) AS times
FROM roof_visit
GROUP BY ALL
HAVING count(*) > 1;
