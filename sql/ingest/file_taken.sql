-- Whether every table of a file is in the database.
select file from file_taken where file = $file and sha256 = $sha256;
