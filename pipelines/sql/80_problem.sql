-- Everything that could not be read, placed or trusted, each with where it stands.
-- reads: survey_problem, survey_row, raw_survey, clean_survey, source_file, place_problem, batch_flag,
--   record_use, record_origin
-- writes: problem
-- grain: one row per problem; a location problem once for each file that names the home
CREATE OR REPLACE TABLE problem AS
SELECT kind, field, raw, file, sheet, "row", "column", message
FROM survey_problem AS said
-- A row that is rejected for want of an identity is told once, as a row.
WHERE said.kind NOT IN (
    'no_property_id', 'no_building_part', 'heading_row', 'totals_row', 'section_row'
)
    OR said.row_id NOT IN (SELECT row_id FROM survey_row WHERE status = 'rejected')
UNION ALL
SELECT
    'row_' || survey_row.status, NULL, NULL, source.file, source.sheet, raw.sheet_row, NULL,
    survey_row.reason
FROM survey_row
JOIN raw_survey AS raw USING (row_id)
JOIN source_file AS source ON survey_row.source_id = source.source_id
WHERE survey_row.status <> 'accepted'
UNION ALL
SELECT
    problem.kind, 'location', problem.raw, source.file, source.sheet, min(raw.sheet_row), NULL,
    'home ' || problem.property_id || ': ' || problem.message
FROM place_problem AS problem
JOIN clean_survey AS clean USING (property_id)
JOIN raw_survey AS raw USING (row_id)
JOIN source_file AS source ON raw.source_id = source.source_id
GROUP BY problem.kind, problem.raw, source.file, source.sheet, problem.property_id, problem.message
UNION ALL
SELECT
    'record_not_used', record.kind, record.record_id, origin.file, origin.sheet, origin."row", NULL,
    record.why_not
FROM record_use AS record
JOIN record_origin AS origin USING (record_row)
WHERE record.why_not IS NOT NULL
UNION ALL
SELECT kind, NULL, who, NULL, NULL, NULL, NULL, message
FROM batch_flag
ORDER BY kind, file, sheet, "row", field, message;
