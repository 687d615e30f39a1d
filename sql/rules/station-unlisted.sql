-- name: station-unlisted
-- title: Station missing from the stations export
-- title.de: Station fehlt im Stationsexport
-- severity: fix
-- says: Named by {sources} ({rows:# row|# rows}) but by no stations export.{likely:case null=|else=
--   Is it {likely}?}
-- says.de: Genannt in {sources:each {item:case scans=Messungen|labels=Etiketten|levels=Pegeln|
--   else=WLAN}} ({rows:# Zeile|# Zeilen}), aber in keinem Stationsexport.{likely:case null=|else=
--   Ist es {likely}?}
-- why: A station that is on the air and not in the inventory has a channel nobody here knows. The
--   store is not planned until it is listed: a neighbour could be moved onto its channel.
-- do: Add it to the stations export, or correct how it is written there. To plan the store without
--   it, set plan_with_unlisted_stations = 1 in the rules file.
-- source: common practice, no published source
select store, station as subject, sources, rows, likely
from unlisted_station
order by store, subject;
