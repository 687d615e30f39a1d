-- name: survey-missing
-- title: A station was never surveyed
-- severity: fix
-- why: Without an energy scan nobody knows how busy its air is; its channel is planned from a Wi-Fi
--   survey or from a cautious guess.
-- do: Run an energy scan at the station over all channels, in trading hours, own stations quiet.
-- source: common practice, no published source
select s.store, s.station as subject,
    format('No energy scan up to {}.', strftime(r.as_of, '%Y-%m-%d')) as detail
from station_now s, this_run r
where not exists (
    from ed_evidence e
    where e.store = s.store and e.station = s.station and e.source = 'measured')
order by s.store, subject;
