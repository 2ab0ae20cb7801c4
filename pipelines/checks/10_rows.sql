-- Every row read is accepted, rejected or superseded, in every source.
SELECT source.source_id, source.file, source.sheet, source.rows_read, count(survey_row.row_id) AS accounted
FROM source_file AS source
LEFT JOIN survey_row
    ON source.source_id = survey_row.source_id
    AND survey_row.status IN ('accepted', 'rejected', 'superseded')
GROUP BY ALL
HAVING source.rows_read <> count(survey_row.row_id);
