-- Empty the table: it speaks of one run.
delete from this_run;
