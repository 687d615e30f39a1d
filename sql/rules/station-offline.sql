-- name: station-offline
-- title: Station offline
-- title.de: Station nicht verbunden
-- severity: fix
-- says: Not connected in the stations export of {seen_on:day}; it serves {labels:# label|# labels}.
-- says.de: Im Stationsexport vom {seen_on:day} nicht verbunden; sie versorgt
--   {labels:# Schild|# Schilder}.
-- why: The latest stations export says that the station had no connection: its labels got no
--   updates, or crowd a neighbour.
-- do: Check power and network; the plan does not change its channel until it is back. Mind the
--   rules for work at height and the store's electrical rules.
-- source: common practice, no published source
-- binds: hold
select s.store, s.station as subject, s.seen_on, coalesce(l.labels, 0) as labels
from station_now s
left join station_load l on l.store = s.store and l.station = s.station
where not s.connected
order by s.store, subject;
