-- name: survey-beside-own-traffic
-- title: A scan heard our own stations
-- severity: watch
-- why: Taken while a station of ours in earshot used the channel or one beside it, the scan counts
--   our own traffic as noise, and no clean scan exists. The present channel looks worse than it is.
-- do: Scan again with the own stations quiet, or at a time when they do not transmit.
-- source: common practice, no published source
select e.store, e.station as subject,
    format('Scanned beside own traffic only: {} {}.',
        case when count(*) = 1 then 'channel' else 'channels' end,
        string_agg(e.channel::varchar, ', ' order by e.channel)) as detail,
    count(*) as channels
from ed_evidence e
join permitted_channel p on p.store = e.store and p.channel = e.channel
where e.own_traffic
group by e.store, e.station
order by e.store, subject;
