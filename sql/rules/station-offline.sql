-- name: station-offline
-- title: A station is offline
-- severity: fix
-- why: The latest stations export says that the station had no connection: its labels got no
--   updates, or crowd a neighbour.
-- do: Check power and network; do not change its channel until it is back. Mind work at height and
--   the store's electrical rules.
-- source: common practice, no published source
select s.store, s.station as subject,
    format('Not connected in the stations export of {}; it serves {}.',
        strftime(s.seen_on, '%Y-%m-%d'), counted(coalesce(l.labels, 0), 'label')) as detail,
    s.seen_on, coalesce(l.labels, 0) as labels
from station_now s
left join station_load l on l.store = s.store and l.station = s.station
where not s.connected
order by s.store, subject;
