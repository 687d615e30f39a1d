-- What became of the file.
insert into export_file
select $file, $sha256, $kind, $exported_on, $rows_read, $rows_loaded, $rows_quarantined,
    $rows_repeated, $refused, $decisions;
