-- name: scan-no-measurement
-- title: Readings that are no measurement
-- title.de: Messwerte, die keine sind
-- severity: fix
-- says: {readings:# reading is|# readings are} no measurement. {channels:This channel counts|These
--   channels count} as not scanned: {channels:all {channel} ({readings})}.
-- says.de: {readings:# Wert ist|# Werte sind} keine Messung. {channels:Dieser Kanal gilt|Diese
--   Kanäle gelten} als nicht gescannt: {channels:all {channel} ({readings})}.
-- why: Radios put a code such as -128, or one level that never varies, in place of a level they
--   could not take. Taken for quiet air it would draw stations to a channel that nobody measured.
-- do: Restart the station and scan these channels again; where it returns, have the station
--   replaced.
-- source: common practice, no published source
with told as (
    select store, station, channel, sum(readings)::bigint as readings
    from reading_matched anti join station_planned using (store, station)
    where cast(scanned_at as date) <= (select as_of from this_run)
    group by store, station, channel
)
select t.store, t.station as subject, sum(t.readings)::bigint as readings,
    list({'channel': t.channel, 'readings': t.readings} order by t.channel) as channels
from told t
join ed_evidence e on e.store = t.store and e.station = t.station and e.channel = t.channel
where e.source <> 'measured'
group by t.store, t.station
order by t.store, subject;
