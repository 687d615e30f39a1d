-- name: channels-all-one
-- title: All stations on one channel
-- title.de: Alle Stationen auf einem Kanal
-- severity: watch
-- says: All {stations:# station|# stations} are on channel {channel}.
-- says.de: Alle {stations:# Station|# Stationen} sind auf Kanal {channel}.
-- why: One channel for a whole store is how stations leave the box. Every station waits for every
--   other, and one disturbance silences the store.
-- do: Spread the stations over the permitted channels; the change plan does.
-- source: common practice, no published source
select store, 'store' as subject, count(*) as stations, any_value(channel) as channel
from station_now
group by store
having count(*) > 1 and count(channel) = count(*) and min(channel) = max(channel)
order by store, subject;
