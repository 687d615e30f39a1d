-- name: quiet
-- Draw no bars for long statements: the program shows its own progress.
set enable_progress_bar = false;

-- name: has_version
-- Say whether the database has tables of any version.
select count(*) from duckdb_tables()
where database_name = current_database() and not temporary and table_name = 'tables_version';

-- name: tables_met
-- List the tables there are: in a database without a version they are another program's.
select table_name from duckdb_tables()
where database_name = current_database() and not temporary
order by table_name;

-- name: version
-- Return the version of the tables.
select version from tables_version;

-- name: has_made
-- Say whether the database notes what made its tables and views.
select count(*) from duckdb_tables()
where database_name = current_database() and not temporary and table_name = 'schema_made';

-- name: made
-- Return what made them.
select fingerprint from schema_made;

-- name: own_name
-- What the database calls itself, after its file.
select current_database();

-- name: attach_copy
-- Make a database file to copy this one to.
attach $path as copied;

-- name: detach_copy
-- Close that file.
detach copied;
