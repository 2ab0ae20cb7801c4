-- The homes that each event in use reached: by name, by postcode or its beginning, by distance.
-- reads: record_event, home, placed_home    writes: event_hit
-- grain: one row per (event_id, property_id)
CREATE OR REPLACE TABLE event_hit AS
WITH area AS (
    SELECT
        *,
        list_transform(string_split(coalesce(property_id, ''), ';'), lambda x: trim(x)) AS named,
        list_filter(
            list_transform(string_split(coalesce(postal_code, ''), ';'), lambda x: upper(replace(x, ' ', ''))),
            lambda x: x <> ''
        ) AS codes
    FROM record_event
),
place AS (
    SELECT
        placed.property_id,
        placed.lat,
        placed.lon,
        upper(replace(home.postal_code, ' ', '')) AS code,
        -- British outward code: all but the last three characters.
        CASE
            WHEN regexp_full_match(upper(replace(home.postal_code, ' ', '')), '[A-Z]{1,2}[0-9][A-Z0-9]?[0-9][A-Z]{2}')
            THEN left(replace(home.postal_code, ' ', ''), length(replace(home.postal_code, ' ', '')) - 3)
        END AS outward
    FROM placed_home AS placed
    JOIN home USING (property_id)
)
SELECT DISTINCT
    area.event_id,
    place.property_id,
    area.building_part,
    area.event_type,
    area.event_on,
    area.record_row
FROM area
JOIN place ON
    list_contains(area.named, place.property_id)
    OR len(list_filter(
        area.codes,
        -- NE1 is the district NE1, not NE12; NE the area, not N; digits are the head of a ZIP code.
        lambda x: x = place.code
            OR x = upper(place.outward)
            OR x = regexp_extract(upper(place.outward), '^[A-Z]+')
            OR (length(x) > length(place.outward) AND starts_with(place.code, x))
            OR (regexp_full_match(x, '[0-9]+') AND starts_with(place.code, x))
    )) > 0
    OR (
        area.radius_km IS NOT NULL
        -- Great-circle distance on a sphere of the earth's mean radius, 6371 km.
        AND 2 * 6371.0 * asin(sqrt(
            pow(sin(radians(place.lat - area.latitude) / 2), 2)
            + cos(radians(area.latitude)) * cos(radians(place.lat))
            * pow(sin(radians(place.lon - area.longitude) / 2), 2)
        )) <= area.radius_km
    )
ORDER BY area.event_id, place.property_id;
