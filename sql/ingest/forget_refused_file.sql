-- As its quarantined rows, so its entry.
delete from export_file where file = $file and refused is not null;
