-- One row for each surveyed home: how far its evidence goes, its worst queue, its area.
-- reads: home, home_queue, report_place, report_measure, contradiction, expiry_calendar    writes: report_home
-- grain: property_id
CREATE OR REPLACE TABLE report_home AS
WITH known AS (
    SELECT property_id, bool_and(decidable) AS decidable, bool_or(expired) AS expired
    FROM report_measure
    GROUP BY property_id
)
SELECT
    home.property_id,
    CASE
        WHEN known.property_id IS NULL THEN 'nothing proposed'
        WHEN known.expired THEN 'out of date'
        WHEN known.decidable THEN 'decidable'
        ELSE 'not decidable'
    END AS coverage,
    worst.queue,
    -- The programme's own area, else the part of the postal code that stands for a district: "PL13" of
    -- "PL13 2AB", "258" of "25801".
    coalesce(place.area, CASE
        WHEN regexp_full_match(trim(home.postal_code), '[0-9]{5}(-[0-9]{4})?') THEN left(trim(home.postal_code), 3)
        WHEN regexp_full_match(upper(trim(home.postal_code)), '[A-Z]{1,2}[0-9][A-Z0-9]?( .*)?')
            THEN split_part(upper(trim(home.postal_code)), ' ', 1)
    END, 'not known') AS area,
    worst.lat,
    worst.lon,
    coalesce(worst.exposure, 'not known') AS exposure,
    home.property_id IN (SELECT property_id FROM contradiction WHERE holds) AS contradiction_open,
    home.property_id IN (
        SELECT property_id FROM expiry_calendar
        WHERE expires_on BETWEEN $as_of AND $as_of + 90
    ) AS expires_soon
FROM home
JOIN home_queue AS worst USING (property_id)
LEFT JOIN known USING (property_id)
LEFT JOIN report_place AS place USING (property_id)
ORDER BY home.property_id;
