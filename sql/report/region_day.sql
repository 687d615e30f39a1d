-- The day of the run.
select as_of from this_run;
