-- More rows of the table.
insert into delivered_rows
select * from incoming;
