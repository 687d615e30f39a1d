-- What each station of today carries. `incoming` gives the air time of one update per payload size.
insert into station_load
with limits as (
    select max(value) filter (name = 'weak_label_dbm') as weak_dbm,
        max(value) filter (name = 'silent_after_days') as silent_days,
        max(value) filter (name = 'default_updates_per_day') as updates,
        max(value) filter (name = 'default_payload_octets') as octets,
        max(value) filter (name = 'updates_hours_per_day') as hours
    from setting
), counted as (
    select n.store, n.station, count(*) as labels,
        count(*) filter (n.level_dbm < l.weak_dbm) as weak_labels,
        count(*) filter (n.seen_on - n.last_heard_on > l.silent_days) as silent_labels,
        count(*) filter (n.stations_heard <= 1) as lone_labels,
        fsum(coalesce(n.updates_per_day, l.updates) * a.air_ms) / any_value(l.hours * 3600000)
            as air_share
    from label_now n, limits l, incoming a
    where a.payload_octets = cast(ceil(coalesce(n.payload_octets, l.octets)) as bigint)
    group by n.store, n.station
), stations as (
    select s.store, s.station, coalesce(c.labels, 0) as labels,
        coalesce(c.weak_labels, 0) as weak_labels, coalesce(c.silent_labels, 0) as silent_labels,
        coalesce(c.lone_labels, 0) as lone_labels, coalesce(c.air_share, 0) as air_share,
        avg(coalesce(c.labels, 0)) over (partition by s.store) as mean_labels
    from station_now s left join counted c on c.store = s.store and c.station = s.station
)
select store, station, labels, weak_labels, silent_labels, lone_labels,
    round(least(air_share, 0.95), 6),
    -- A store without a labels export weighs its stations alike; an empty station still counts a little.
    round(case when mean_labels = 0 then 1 else greatest(0.1, labels / mean_labels) end, 6)
from stations
order by store, station;
