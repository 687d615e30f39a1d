-- The tables a guarded copy is filled with; the version is written when the copy is made.
select table_name
from duckdb_tables()
where database_name = current_database() and not temporary and table_name <> 'tables_version'
order by table_name;
