-- Empty the table: it speaks of one run.
delete from permitted_channel;
