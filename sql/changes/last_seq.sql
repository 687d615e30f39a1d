-- The number of the last event; 0 before the first.
select coalesce(max(seq), 0) from change_event;
