-- One row: the run the views below speak of. `run` is derived from the inputs, never from a clock.
create table if not exists this_run (run varchar not null, as_of date not null);
