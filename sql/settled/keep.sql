-- A whole run is done.
insert into whole_run values ($fingerprint);
