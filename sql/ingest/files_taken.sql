-- Every file of which all tables are in the database.
select distinct file, sha256 from file_taken;
