-- Take the file's good rows into the set; a row that is there already, or twice in the file, once.
insert into label_seen
select store, label, seen_on, station, level_dbm, stations_heard, success_pct, last_heard_on,
    updates_per_day, payload_octets, channels
from cleaned where good
except
select * from label_seen where seen_on in (select distinct seen_on from cleaned where good);
