-- Empty the table: it holds the current plan only.
delete from unplanned_store;
