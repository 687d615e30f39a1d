-- The tables of each file, as they were taken: the file itself, or the sheets of a workbook.
with files as (
    select distinct file, sha256 from file_taken
)
select f.file, f.sha256, e.file, e.kind, e.rows_read, e.rows_loaded, e.rows_quarantined,
    e.rows_repeated, e.refused
from files f join export_file e
    on e.sha256 = f.sha256 and (e.file = f.file or starts_with(e.file, f.file || '#'))
where e.refused is null
order by f.file, f.sha256, e.rowid;
