-- name: channel-unstated
-- title: Export does not state the channel
-- title.de: Export nennt den Kanal nicht
-- severity: watch
-- says: The stations export of {seen_on:day} gives no channel.
-- says.de: Der Stationsexport vom {seen_on:day} nennt keinen Kanal.
-- why: Without today's channel no rule can judge the station and no plan can say what to change.
-- do: Export the station list again with the channel, or read it at the station.
-- source: common practice, no published source
select store, station as subject, seen_on
from station_now
where channel is null
order by store, subject;
