-- What every stations export up to $last says of each station, as texts: one row a station and day.
-- Where exports of one day disagree, the smallest row stands, as in station_now; a rule reports it.
with one as (
    select unnest(min(s)) from station_seen s
    where s.seen_on <= $last and ($store is null or s.store = $store)
    group by s.store, s.station, s.seen_on
)
select store, seen_on, station, channel::varchar as channel,
    printf('0x%04X', pan_id) as pan_id, format('{:g}', tx_power_dbm) as tx_power_dbm,
    eui64, ip_address, port::varchar as port, firmware, hardware, name, mounted,
    case when coalesce(floor::varchar, x_m::varchar, y_m::varchar) is not null then
        format('{} / {} / {}', coalesce(floor::varchar, '?'), coalesce(format('{:g}', x_m), '?'),
            coalesce(format('{:g}', y_m), '?')) end as place
from one
order by store, seen_on, station;
