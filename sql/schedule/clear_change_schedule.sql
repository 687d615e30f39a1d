-- Empty the table: it holds the current schedule only.
delete from change_schedule;
