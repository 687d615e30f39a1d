-- The rules file of the last run as written, for commands that are given none: one row.
create table if not exists rules_kept (text varchar not null);
