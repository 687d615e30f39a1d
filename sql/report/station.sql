-- The stations of each store with what the plan, the air and the labels say of them.
-- A store without a plan still has its clear air of today.
select s.store, s.station, s.name, s.mounted, s.floor, s.x_m, s.y_m, s.channel, s.pan_id,
    s.tx_power_dbm, s.eui64, s.ip_address, s.port, s.firmware, s.hardware, s.connected,
    p.channel_planned, coalesce(p.clear_air_now, c.clear_air) as clear_air_now,
    p.clear_air_planned, p.busy_now, p.busy_planned, p.source_planned,
    p.next_best_channel, p.sureness, p.reason,
    coalesce(l.labels, 0) as labels, coalesce(l.weak_labels, 0) as weak_labels,
    coalesce(l.silent_labels, 0) as silent_labels, coalesce(l.lone_labels, 0) as lone_labels,
    coalesce(l.air_share, 0) as air_share, coalesce(l.weight, 1) as weight,
    coalesce(p.facts, '') as facts
from station_now s
left join station_plan p on p.store = s.store and p.station = s.station
left join clear_air_now c on c.store = s.store and c.station = s.station
left join station_load l on l.store = s.store and l.station = s.station
where s.store in (select store from due_store)
order by s.store, s.station;
