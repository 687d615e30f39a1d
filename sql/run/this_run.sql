-- The run the views speak of.
select run, as_of from this_run;
