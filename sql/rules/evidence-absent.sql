-- name: evidence-absent
-- title: No evidence for some channels
-- title.de: Über manche Kanäle ist nichts bekannt
-- severity: watch
-- says: Neither scan nor Wi-Fi survey for {channels:channel|channels} {channels:all}.
-- says.de: Weder Scan noch WLAN-Scan für {channels:Kanal|die Kanäle} {channels:all}.
-- why: Permitted channels that were neither scanned nor covered by a Wi-Fi survey are not
--   known. The plan reckons with what is usual in the chain, and moves no station there unless
--   that is surely better than what was measured.
-- do: Scan all channels at the station, or survey the store's Wi-Fi.
-- source: common practice, no published source
select e.store, e.station as subject, list(e.channel order by e.channel) as channels
from ed_evidence e anti join station_planned using (store, station)
join permitted_channel p on p.store = e.store and p.channel = e.channel
where e.source = 'absent'
group by e.store, e.station
order by e.store, subject;
