-- The version of the tables.
select version from tables_version;
