-- The worst part decides a home: fix-water-first before specialist-review before safe (5.1).
-- reads: home, placed_home, queue    writes: home_queue
-- grain: one row per property_id; homes without a proposed measure have no queue
CREATE OR REPLACE TABLE home_queue AS
WITH worst AS (
    SELECT
        property_id,
        min(CASE queue WHEN 'fix-water-first' THEN 1 WHEN 'specialist-review' THEN 2 ELSE 3 END) AS rank,
        count(*) AS measures,
        bool_and(released) AS all_released,
        CASE
            WHEN bool_or(foam_present = 'yes') THEN 'yes'
            WHEN bool_or(foam_present = 'unknown') THEN 'unknown'
            ELSE 'no'
        END AS foam_present,
        bool_or(near_cold_line) AS near_cold_line,
        max(exposure) AS exposure,
        max(zone) AS zone,
        min(expires_on) FILTER (queue = 'safe-to-insulate') AS expires_on,
        string_agg(DISTINCT lane, '; ' ORDER BY lane) FILTER (queue = 'specialist-review') AS lane,
        string_agg(DISTINCT main_rule, '; ' ORDER BY main_rule) AS main_rules
    FROM queue
    GROUP BY property_id
)
SELECT
    home.property_id,
    home.building_id,
    home.archetype_code,
    place.lat,
    place.lon,
    place.location_precision,
    place.region_name,
    place.climate_id,
    place.climate_name,
    place.zone_join,
    worst.zone,
    worst.exposure,
    worst.near_cold_line,
    CASE worst.rank
        WHEN 1 THEN 'fix-water-first' WHEN 2 THEN 'specialist-review' WHEN 3 THEN 'safe-to-insulate'
    END AS queue,
    worst.lane,
    worst.main_rules,
    worst.all_released,
    worst.foam_present,
    worst.expires_on,
    home.surveys,
    home.parts,
    coalesce(worst.measures, 0) AS measures,
    home.survey_on
FROM home
-- LEFT: a home that cannot be placed, or for which nothing is proposed, stays in the run.
LEFT JOIN placed_home AS place USING (property_id)
LEFT JOIN worst USING (property_id)
ORDER BY home.property_id;
