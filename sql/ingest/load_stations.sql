-- Take the file's good rows into the set; a row that is there already, or twice in the file, once.
insert into station_seen
select store, station, seen_on, name, mounted, floor, x_m, y_m, channel, pan_id, tx_power_dbm,
    eui64, ip_address, port, firmware, hardware, connected
from cleaned where good
except
select * from station_seen where seen_on in (select distinct seen_on from cleaned where good);
