-- One row a home, and every accepted row's home is there.
SELECT property_id, count(*) AS found FROM home GROUP BY property_id HAVING count(*) > 1
UNION ALL
SELECT DISTINCT property_id, 0 FROM clean_survey WHERE property_id NOT IN (SELECT property_id FROM home);
