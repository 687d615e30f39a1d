insert into tables_version values ($version);
