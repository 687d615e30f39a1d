-- What the last whole run was made from.
select fingerprint from whole_run;
