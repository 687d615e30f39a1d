-- name: counted
-- '1 station', '2 stations'.
create or replace macro counted(n, noun) as
n || ' ' || noun || case when n = 1 then '' else 's' end;

-- name: named
-- The first four of a list of texts, and how many more there are.
create or replace macro named(texts) as
array_to_string(texts[1:4], ', ')
|| case when len(texts) > 4 then ' and ' || (len(texts) - 4) || ' more' else '' end;

-- name: percent
-- A share of 0..1 as a text: 0.25 gives '25.0 %'.
create or replace macro percent(share) as format('{:.1f} %', 100 * share::double);
