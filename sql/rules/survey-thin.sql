-- name: survey-thin
-- title: Too few energy readings
-- title.de: Zu wenige Messwerte
-- severity: watch
-- says: Fewer than {wanted:.0f} readings on {channels:# channel|# channels}:
--   {channels:all {channel} ({readings})}.
-- says.de: Weniger als {wanted:.0f} Messwerte auf {channels:# Kanal|# Kanälen}:
--   {channels:all {channel} ({readings})}.
-- why: Below {readings_minimum} readings a channel the interval of the estimate is wide: a short
--   scan may meet a quiet or a busy hour. Only where another scan may still change the plan: a
--   decision that is settled asks for none.
-- do: Scan longer or more often, also in trading hours.
-- source: the number is common practice, no published source
select e.store, e.station as subject, limit_of('readings_minimum') as wanted,
    list({'channel': e.channel, 'readings': e.readings} order by e.channel) as channels
from ed_evidence e anti join station_planned using (store, station)
semi join scan_wanted using (store, station)
join permitted_channel p on p.store = e.store and p.channel = e.channel
where e.source = 'measured' and e.readings < limit_of('readings_minimum')
group by e.store, e.station
order by e.store, subject;
