-- The day this run speaks of.
select as_of from this_run;
