-- Measures that surveyors wrote down, the newest row's material and thickness with them.
-- reads: clean_survey    writes: written_proposal
-- grain: one row per (property_id, building_part, measure_code)
CREATE OR REPLACE TABLE written_proposal AS
WITH each_code AS (
    SELECT
        property_id,
        building_part,
        survey_date,
        unnest(string_split(measure_code, ';')) AS measure_code,
        -- With several measures in one cell nobody can say whose material it is.
        CASE WHEN measure_code NOT LIKE '%;%' THEN measure_material END AS measure_material,
        CASE WHEN measure_code NOT LIKE '%;%' THEN measure_thickness_mm END AS measure_thickness_mm
    FROM clean_survey
    WHERE measure_code IS NOT NULL
),
ranked AS (
    SELECT
        *,
        row_number() OVER (
            PARTITION BY property_id, building_part, measure_code
            ORDER BY
                survey_date DESC NULLS LAST, measure_material NULLS LAST,
                measure_thickness_mm NULLS LAST
        ) AS newest
    FROM each_code
)
SELECT
    property_id,
    building_part,
    measure_code,
    arg_min(measure_material, newest) AS measure_material,
    arg_min(measure_thickness_mm, newest) AS measure_thickness_mm
FROM ranked
GROUP BY property_id, building_part, measure_code
ORDER BY property_id, building_part, measure_code;
