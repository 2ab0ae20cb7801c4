-- Every surveyed home once, and a queue exactly where something is proposed.
SELECT property_id, coverage, queue
FROM report_home
WHERE (queue IS NULL) <> (coverage = 'nothing proposed')
UNION ALL
SELECT property_id, 'home is missing', NULL
FROM home
WHERE property_id NOT IN (SELECT property_id FROM report_home);
