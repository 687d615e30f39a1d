-- Name the run the views speak of.
insert into this_run values ($run, $as_of);
