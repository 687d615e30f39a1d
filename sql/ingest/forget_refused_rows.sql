-- A file that was refused under this name is tried again, or is replaced by other content.
delete from quarantined_row q using export_file e
where e.file = $file and e.refused is not null and q.file = e.file and q.sha256 = e.sha256;
