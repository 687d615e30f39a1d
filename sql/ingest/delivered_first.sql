-- The first rows of a table, as its cells were written.
create or replace temp table delivered_rows as
select * from incoming;
