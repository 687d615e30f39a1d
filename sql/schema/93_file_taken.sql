-- Files of which every table is in the database, by name and content: they are not opened again.
create table if not exists file_taken (file varchar not null, sha256 varchar not null);
