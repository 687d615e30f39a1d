-- name: evidence-absent
-- title: Nothing is known about channels the plan may use
-- severity: watch
-- why: Permitted channels that were neither scanned nor covered by a Wi-Fi survey are planned with
--   a busy share of {absent_busy_share:%}: a guess that may be too good or too bad.
-- do: Scan all channels at the station, or survey the store's Wi-Fi.
-- source: common practice, no published source
select e.store, e.station as subject,
    format('Neither scan nor Wi-Fi survey for {} {}.',
        case when count(*) = 1 then 'channel' else 'channels' end,
        string_agg(e.channel::varchar, ', ' order by e.channel)) as detail,
    count(*) as channels
from ed_evidence e
join permitted_channel p on p.store = e.store and p.channel = e.channel
where e.source = 'absent'
group by e.store, e.station
order by e.store, subject;
