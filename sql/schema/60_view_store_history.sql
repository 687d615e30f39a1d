-- A store's description with the days it held: from the day first seen so until the next change.
create or replace view store_history as
with one as (   -- where exports of one day disagree, the smallest row stands; a rule reports it
    select unnest(min(s)) from store_seen s group by s.store, s.seen_on
), marked as (
    select *, seen_on as valid_from,
        (name, region, country, store_type, time_zone, opens, closes) as facts,
        lag((name, region, country, store_type, time_zone, opens, closes))
            over (partition by store order by seen_on) as earlier
    from one
), changed as (select * from marked where earlier is distinct from facts)
select store, name, region, country, store_type, time_zone, opens, closes, valid_from,
    lead(valid_from) over (partition by store order by valid_from) as valid_to
from changed;
