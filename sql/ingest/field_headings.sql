-- The file's own headings, in its order, by the field each stands for.
create or replace temp table field_heading as
select * from incoming;
