-- The file of this name and content, where its rows were taken before.
select kind, rows_read, rows_loaded, rows_quarantined, rows_repeated
from export_file where file = $file and sha256 = $sha256 and refused is null;
