-- name: last_seal
-- The last seal of the register.
select * from register_seal order by size desc limit 1;

-- name: seals
-- Every seal of the register, the first one first.
select * from register_seal order by size;

-- name: entries
-- Every entry of the register in the order in which they were sealed.
select * from register_entry order by seq;

-- name: sealed_rows
-- How many rows of each table are sealed.
select source as key, count(*) as value from register_entry group by source order by source;

-- name: this_day
-- The day of the run.
select as_of from this_run;

-- name: changes_of
-- The changes of a station.
select change from change where store = $store and station = $station order by change;
