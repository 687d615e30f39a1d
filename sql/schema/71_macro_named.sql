-- The first four of a list of texts, and how many more there are.
create or replace macro named(texts) as
array_to_string(texts[1:4], ', ')
|| case when len(texts) > 4 then ' and ' || (len(texts) - 4) || ' more' else '' end;
