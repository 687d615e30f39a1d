-- Empty the table: it holds the current schedule only.
delete from unscheduled_store;
