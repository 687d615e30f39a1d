-- Runs of this database, one row per distinct set of inputs.
create table if not exists run (run varchar primary key, as_of date not null, version varchar not null);
