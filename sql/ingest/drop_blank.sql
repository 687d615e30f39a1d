-- Rows without any cell filled are no rows.
delete from cleaned using bad_text b
where cleaned.rowid = b.n and not regexp_matches(cast(b.cells as varchar), ':"\s*[^"\s]');
