-- name: station-unlisted
-- title: Stations missing from the stations export
-- title.de: Stationen fehlen im Stationsexport
-- severity: fix
-- says: {stations:# station|# stations} named by {sources} ({rows:# row|# rows}) but by no stations
--   export; {cause:case ambiguous=each may be more than one listed station|else=they match no
--   listed one}: {named:each {key}{likely:case null=|else= (is it {likely}?)}}.
-- says.de: {stations:# Station|# Stationen}, genannt in {sources:each {item:case scans=Scans|
--   labels=Schilderlisten|levels=Pegeln|else=WLAN}} ({rows:# Zeile|# Zeilen}), aber in keinem
--   Stationsexport; {cause:case ambiguous=jede kann mehr als eine genannte sein|else=sie
--   entsprechen keiner genannten}: {named:each {key}{likely:case null=|else= (ist es {likely}?)}}.
-- why: A station that is on the air and not in the inventory has a channel nobody here knows. The
--   store is not planned until it is listed: a neighbour could be moved onto its channel.
-- do: Add them to the stations export, or correct how they are written there; the quarantine
--   workbook lists them all. To plan the store without them, set plan_with_unlisted_stations = 1
--   in the rules file.
-- source: common practice, no published source
select store, cause as subject, cause, stations, sources, rows, named
from unlisted_station
order by store, subject;
