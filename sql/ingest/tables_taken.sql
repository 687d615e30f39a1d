-- The tables of a file, as they were taken: the file itself, or the sheets of a workbook.
select file, kind, rows_read, rows_loaded, rows_quarantined, rows_repeated, refused
from export_file
where sha256 = $sha256 and refused is null and (file = $file or starts_with(file, $file || '#'))
order by rowid;
