-- Each store as last described up to the run's date. A store that only other exports name is
-- here too, without a description, so that nothing it sent is out of sight.
create or replace view store_now as
with named as (
    select store, seen_on from store_seen union all
    select store, seen_on from station_seen
), last_seen as (
    select store, max(seen_on) as last_seen_on
    from named where seen_on <= (select as_of from this_run) group by store
), latest as (
    select unnest(max_by(s, (s.seen_on, s))) from store_seen s
    where s.seen_on <= (select as_of from this_run) group by s.store
)
select l.store, coalesce(t.name, l.store) as name, coalesce(t.region, 'no region') as region,
    t.country, t.store_type, t.time_zone, t.opens, t.closes,
    t.seen_on as described_on, l.last_seen_on
from last_seen l left join latest t using (store);
