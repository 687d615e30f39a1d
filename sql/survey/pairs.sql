-- Every ordered pair of stations of a store, with what is known of the path between them.
-- `measured_dbm` is the level heard; `reverse_dbm` the level heard the other way round.
with stations as (
    select n.store, n.station, n.floor, n.x_m, n.y_m,
        coalesce(n.tx_power_dbm, s.value) as tx_power_dbm
    from station_now n, setting s where s.name = 'default_tx_power_dbm'
)
select a.store, a.station, b.station as neighbour,
    a.tx_power_dbm as own_power_dbm, b.tx_power_dbm as neighbour_power_dbm,
    case when b.x_m is not null and b.y_m is not null and a.x_m is not null and a.y_m is not null
        then sqrt(pow(a.x_m - b.x_m, 2) + pow(a.y_m - b.y_m, 2)) end as flat_m,
    abs(coalesce(a.floor, 0) - coalesce(b.floor, 0)) as floors,
    h.level_dbm as measured_dbm, r.level_dbm as reverse_dbm
from stations a join stations b on a.store = b.store and a.station <> b.station
left join heard_now h on h.store = a.store and h.station = a.station and h.neighbour = b.station
left join heard_now r on r.store = a.store and r.station = b.station and r.neighbour = a.station
order by a.store, a.station, b.station;
