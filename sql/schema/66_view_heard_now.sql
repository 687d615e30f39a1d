-- The latest measured level of each pair up to the run's date; several of one day averaged in mW.
create or replace view heard_now as
with upto as (
    select * from heard_seen where seen_on <= (select as_of from this_run)
), newest as (
    select store, station, neighbour, max(seen_on) as seen_on
    from upto group by store, station, neighbour
)
select u.store, u.station, u.neighbour, u.seen_on,
    round(10 * log10(fsum(pow(10, u.level_dbm / 10)) / count(*)), 3) as level_dbm
from upto u join newest n using (store, station, neighbour, seen_on)
group by u.store, u.station, u.neighbour, u.seen_on;
