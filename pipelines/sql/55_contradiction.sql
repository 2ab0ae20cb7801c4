-- Both cells of every two records that disagree, and the measures whose queue hangs on it.
-- reads: evidence_conflict, queue, clean_survey, raw_survey, source_file, source_column,
--        evidence_row, evidence_origin, record_origin    writes: contradiction
-- grain: one row per property_id, building_part, field and other_row_id
CREATE OR REPLACE TABLE contradiction AS
WITH said AS (
    SELECT field, row_id FROM evidence_conflict
    UNION
    SELECT field, other_row_id FROM evidence_conflict
),
first_column AS (SELECT source_id, min(position) AS position FROM source_column GROUP BY source_id),
survey_cell AS (
    SELECT
        said.field, said.row_id, source.file, source.sheet, raw.sheet_row AS "row",
        CASE WHEN col.status <> 'constant' THEN col."column" END AS "column",
        CASE WHEN col.status <> 'constant' THEN raw.cells[col.position - first_column.position + 1] END AS raw,
        NULL AS record
    FROM said
    JOIN raw_survey AS raw USING (row_id)
    JOIN source_file AS source ON source.source_id = raw.source_id
    JOIN first_column ON first_column.source_id = raw.source_id
    -- LEFT: an answer that no cell holds (inferred from another one) still has its row.
    LEFT JOIN source_column AS col ON col.source_id = raw.source_id AND col.field = said.field
    QUALIFY row_number() OVER (PARTITION BY said.field, said.row_id ORDER BY col.position DESC) = 1
),
record_cell AS (
    SELECT
        said.field, said.row_id, origin.file, origin.sheet, origin."row",
        NULL AS "column", NULL AS raw, made.kind || ' ' || made.record_id AS record
    FROM said
    JOIN evidence_origin AS made
        ON made.row_id = said.row_id AND coalesce(made.field, said.field) = said.field
    JOIN record_origin AS origin USING (record_row)
),
cell AS (
    SELECT place.*, evidence.property_id AS home, evidence.survey_date, evidence.surveyor_id
    FROM (FROM survey_cell UNION ALL FROM record_cell) AS place
    JOIN evidence_row AS evidence USING (row_id)
),
held AS (
    SELECT
        property_id, building_part, field,
        string_agg(measure_code, ', ' ORDER BY measure_code) AS measures,
        bool_or(lane = 'contradiction') AS holds
    FROM (
        SELECT property_id, building_part, measure_code, coalesce(lane, '') AS lane,
            unnest(disputed_fields) AS field
        FROM queue
    )
    GROUP BY ALL
)
SELECT
    differ.property_id, differ.building_part, differ.field,
    held.measures, coalesce(held.holds, FALSE) AS holds,
    differ.value, differ.grade, taken.survey_date, taken.surveyor_id, taken.home,
    taken.file, taken.sheet, taken."row", taken."column", taken.raw, taken.record,
    differ.other_value, differ.other_grade, other.survey_date AS other_survey_date,
    other.surveyor_id AS other_surveyor_id, other.home AS other_home,
    other.file AS other_file, other.sheet AS other_sheet, other."row" AS other_row,
    other."column" AS other_column, other.raw AS other_raw, other.record AS other_record,
    differ.row_id, differ.other_row_id
FROM evidence_conflict AS differ
LEFT JOIN held USING (property_id, building_part, field)
LEFT JOIN cell AS taken ON taken.row_id = differ.row_id AND taken.field = differ.field
LEFT JOIN cell AS other ON other.row_id = differ.other_row_id AND other.field = differ.field
ORDER BY
    differ.property_id, differ.building_part, differ.field, differ.other_value, differ.other_row_id;
