-- A file refused as a whole: one entry that stands for all its rows.
insert into quarantined_row
select $file, $sha256, null, $line, $rows, 'file-refused', $reason, $advice, $cells;
