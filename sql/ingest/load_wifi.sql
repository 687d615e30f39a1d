-- Take the file's good rows into the set; a row that is there already, or twice in the file, once.
insert into wifi_seen
select store, station, seen_on, network, wifi_channel, width_mhz, secondary, level_dbm,
    utilisation_pct
from cleaned where good
except
select * from wifi_seen where seen_on in (select distinct seen_on from cleaned where good);
