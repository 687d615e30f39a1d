-- name: survey-beside-own-traffic
-- title: Scan heard our own stations
-- title.de: Scan hat eigene Stationen mitgehört
-- severity: watch
-- says: Scanned beside our own traffic only: {channels:channel|channels} {channels:all}.
-- says.de: Nur neben eigenem Funkverkehr gemessen: {channels:Kanal|Kanäle} {channels:all}.
-- why: The scan was taken while a station of ours in earshot used the channel or one beside it, so
--   it counts our own traffic as noise, and no clean scan exists. The present channel looks worse
--   than it is.
-- do: Scan again with our own stations quiet, or at a time when they do not transmit.
-- source: common practice, no published source
select e.store, e.station as subject, list(e.channel order by e.channel) as channels
from ed_evidence e anti join station_planned using (store, station)
join permitted_channel p on p.store = e.store and p.channel = e.channel
where e.own_traffic
group by e.store, e.station
order by e.store, subject;
