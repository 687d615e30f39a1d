-- Labels that are all different from one another and from all in the database.
insert into label_seen
select store, label, seen_on, station, level_dbm, stations_heard, success_pct, last_heard_on,
    updates_per_day, payload_octets, channels
from cleaned where good;
