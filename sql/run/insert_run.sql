-- Keep the run once, however often the same inputs are run.
insert or ignore into run values ($run, $as_of, $version);
