-- The floor of reading: DuckDB's own reader takes one file into a table, types found by itself.
create or replace temp table floor as select * from read_csv($path);
