-- The climate records that the judged homes use.
-- reads: climate_record, placed_home, queue    writes: climate_use
-- grain: one row per climate_id in use
CREATE OR REPLACE TABLE climate_use AS
SELECT climate.climate_name AS name, climate.lat, climate.lon, count(*) AS homes
FROM climate_record AS climate
JOIN placed_home AS place USING (climate_id)
WHERE place.property_id IN (SELECT property_id FROM queue)
GROUP BY ALL
ORDER BY homes DESC, name;
