-- The channel changes of each store, in the order they are made, with the night they are to be made
-- in, where the schedule has one, and how long the station is off the air.
select m.store, m.position, m.station, m.from_channel, m.to_channel, m.parking,
    m.clear_air_before, m.clear_air_after, m.reason, m.facts,
    n.starts_local, n.ends_local, coalesce(n.provisional, false) as provisional,
    (select value from setting where name = 'minutes_per_move') as minutes
from move m
left join change_schedule n on n.store = m.store
    and m.position between n.first_position and n.last_position
where m.store in (select store from due_store)
order by m.store, m.position, m.station;
