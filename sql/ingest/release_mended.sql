-- They leave quarantine.
delete from quarantined_row using mended_row m
where quarantined_row.file = m.file and quarantined_row.sha256 = m.sha256
    and quarantined_row.line = m.line and quarantined_row.rows = 1
    and quarantined_row.problem <> 'file-refused';
