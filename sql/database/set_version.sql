-- Note the version of the tables in a new database.
insert into tables_version values ($version);
