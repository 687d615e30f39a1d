-- What the last run that wrote every file was made from, in one row; none since something happened.
create table if not exists whole_run (
    fingerprint varchar not null  -- of exports, register, rules, day and program, and of the folder
);
