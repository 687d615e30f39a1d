-- Columns of exports that no heading table knows, so that a lost column does not go unnoticed.
select file, regexp_extract(decisions, 'headings left aside: ([^;]*)', 1) as headings
from export_file where decisions like '%headings left aside: %' order by file;
