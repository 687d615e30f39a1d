-- name: channel-unstated
-- title: The export does not say which channel a station uses
-- severity: watch
-- why: Without today's channel no rule can judge the station and no plan can say what to change.
-- do: Export the station list again with the channel, or read it at the station.
-- source: common practice, no published source
select store, station as subject,
    format('The stations export of {} gives no channel.', strftime(seen_on, '%Y-%m-%d')) as detail,
    seen_on
from station_now
where channel is null
order by store, subject;
