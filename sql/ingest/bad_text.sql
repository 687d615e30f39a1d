-- The cells of the rows that could not be taken, by their place in the file, as JSON.
create or replace temp table bad_text as
select n, to_json(d) as cells
from (select row_number() over () - 1 as n, * from delivered) d
semi join (select rowid as n from cleaned where not good) b using (n);
