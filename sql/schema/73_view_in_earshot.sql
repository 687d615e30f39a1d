-- Today's stations in earshot: `station` hears `neighbour`, if it were on the same channel,
-- above the clear-channel threshold with at least the chance the rules file names.
create or replace view in_earshot as
select e.store, e.station, e.neighbour, s.channel, n.channel as neighbour_channel,
    abs(s.channel - n.channel) as channels_apart,
    s.pan_id, n.pan_id as neighbour_pan_id,
    e.heard_dbm, e.source, e.distance_m, e.hit_co, e.hit_adjacent
from earshot e
join station_now s on s.store = e.store and s.station = e.station
join station_now n on n.store = e.store and n.station = e.neighbour
where e.hit_co >= (select value from setting where name = 'earshot_probability');
