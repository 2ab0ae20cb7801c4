-- One row a home: the newest usable location of each kind that any of its accepted rows gives.
-- reads: clean_survey    writes: home
-- grain: one row per property_id
CREATE OR REPLACE TABLE home AS
WITH ranked AS (
    SELECT
        *,
        -- Newest first; equal dates fall back on content, so that row order decides nothing.
        row_number() OVER (
            PARTITION BY property_id
            ORDER BY
                survey_date DESC NULLS LAST, latitude NULLS LAST, longitude NULLS LAST,
                grid_reference NULLS LAST, easting_m NULLS LAST, postal_code NULLS LAST, survey_id
        ) AS newest
    FROM clean_survey
)
SELECT
    property_id,
    -- Both halves of a coordinate come from one row.
    arg_min(latitude, newest) FILTER (latitude IS NOT NULL AND longitude IS NOT NULL) AS latitude,
    arg_min(longitude, newest) FILTER (latitude IS NOT NULL AND longitude IS NOT NULL) AS longitude,
    arg_min(grid_reference, newest) AS grid_reference,
    arg_min(easting_m, newest) FILTER (easting_m IS NOT NULL AND northing_m IS NOT NULL) AS easting_m,
    arg_min(northing_m, newest) FILTER (easting_m IS NOT NULL AND northing_m IS NOT NULL) AS northing_m,
    arg_min(postal_code, newest) AS postal_code,
    arg_min(country_code, newest) AS country_code,
    arg_min(building_id, newest) AS building_id,
    arg_min(archetype_code, newest) AS archetype_code,
    count(*) AS surveys,
    count(DISTINCT building_part) AS parts,
    max(survey_date) AS survey_on
FROM ranked
GROUP BY property_id
ORDER BY property_id;
