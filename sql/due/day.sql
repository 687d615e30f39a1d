-- The day of this run.
select as_of from this_run;
