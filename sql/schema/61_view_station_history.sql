-- A station's configuration with the days it held. `connected` is a state, not configuration,
-- and is left out here: station_now has the latest.
create or replace view station_history as
with one as (   -- where exports of one day disagree, the smallest row stands; a rule reports it
    select unnest(min(s)) from station_seen s group by s.store, s.station, s.seen_on
), marked as (
    select *, seen_on as valid_from,
        (name, mounted, floor, x_m, y_m, channel, pan_id, tx_power_dbm,
         eui64, ip_address, port, firmware, hardware) as facts,
        lag((name, mounted, floor, x_m, y_m, channel, pan_id, tx_power_dbm,
             eui64, ip_address, port, firmware, hardware))
            over (partition by store, station order by seen_on) as earlier
    from one
), changed as (select * from marked where earlier is distinct from facts)
select store, station, name, mounted, floor, x_m, y_m, channel, pan_id, tx_power_dbm,
    eui64, ip_address, port, firmware, hardware, valid_from,
    lead(valid_from) over (partition by store, station order by valid_from) as valid_to
from changed;
