-- Stations, and stores (subject 'store'), that the exports of the latest day that names them give
-- more than once, each time with other facts.
create or replace view told_twice as
with told_on as (
    select store, station as subject, seen_on, count(*) as times
    from station_seen group by store, station, seen_on
    union all
    select store, 'store', seen_on, count(*) from store_seen group by store, seen_on
)
select store, subject, max(seen_on) as seen_on
from told_on
where seen_on <= (select as_of from this_run)
group by store, subject
having max_by(times, seen_on) > 1;
