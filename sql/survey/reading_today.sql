-- Keep the readings on each station's channel of today.
insert into reading_today
select h.store, h.station, h.channel, h.level_dbm, h.statistic, h.scan_day, h.beside_own,
    round(h.free_of_own, 9), h.readings, round(h.worth, 9)
from histogram h
join station_now n on n.store = h.store and n.station = h.station and n.channel = h.channel
order by h.store, h.station, h.level_dbm, h.statistic, h.scan_day, h.beside_own;
