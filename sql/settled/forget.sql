-- What a whole run worked out is about to be replaced.
delete from whole_run;
