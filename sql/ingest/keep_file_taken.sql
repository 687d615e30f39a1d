-- Every table of the file is in the database.
insert into file_taken values ($file, $sha256);
