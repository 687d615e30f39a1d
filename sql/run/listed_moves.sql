-- The moves of the plan in the order to make them.
select m.store, s.region, m.position, m.station, m.from_channel, m.to_channel,
    if(m.parking, 'parking', '') as parking, m.clear_air_before, m.clear_air_after, m.reason
from move m join store_now s using (store)
order by m.store, m.position;
