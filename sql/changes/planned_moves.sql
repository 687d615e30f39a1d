-- The moves of the plan of this run, with what each rests on. Labels gone silent do not count.
select m.store, m.station, m.from_channel, m.to_channel, m.position, m.parking,
    m.clear_air_before, m.clear_air_after,
    coalesce(l.labels - l.silent_labels, 0) as labels, p.sureness
from move m
join station_plan p on p.store = m.store and p.station = m.station
left join station_load l on l.store = m.store and l.station = m.station
order by m.store, m.position;
