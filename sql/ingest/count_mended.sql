-- In the file they first came in, they count as repeated: they are held through another file.
update export_file set rows_quarantined = export_file.rows_quarantined - s.rows,
    rows_repeated = export_file.rows_repeated + s.rows
from settled s where s.file = export_file.file and s.sha256 = export_file.sha256;
