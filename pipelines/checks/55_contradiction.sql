SELECT property_id, building_part, field, other_row_id FROM contradiction
GROUP BY ALL HAVING count(*) > 1
UNION ALL
SELECT property_id, building_part, field, other_row_id FROM contradiction
WHERE file IS NULL OR other_file IS NULL;
