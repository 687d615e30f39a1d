-- name: survey-missing
-- title: Station never surveyed
-- title.de: Station ohne Scan
-- severity: fix
-- says: No energy scan up to {as_of:day}.
-- says.de: Kein Energiescan bis zum {as_of:day}.
-- why: Without an energy scan nobody knows how busy its air is; its channel is planned from a Wi-Fi
--   survey or from a cautious guess.
-- do: Run an energy scan at the station over all channels, in trading hours, our own stations
--   quiet.
-- source: common practice, no published source
select s.store, s.station as subject, r.as_of
from station_now s, this_run r
where not exists (
    from ed_evidence e
    where e.store = s.store and e.station = s.station and e.source = 'measured')
order by s.store, subject;
