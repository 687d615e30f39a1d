-- The version of the tables below: one row.
create table if not exists tables_version (version integer not null);
