-- What the plan of each store surveyed is made from: its survey, the channels permitted, and where
-- an approved exception keeps stations on their channel.
with permitted as (
    select store, string_agg(channel, ' ' order by channel) as channels
    from permitted_channel group by store
), kept as (
    select store, string_agg(subject, chr(10) order by subject) as subjects
    from exception, this_run
    where rule = 'channel-not-permitted' and until >= as_of group by store
)
select c.store, c.fingerprint, coalesce(p.channels, ''), coalesce(k.subjects, ''),
    coalesce(e.subjects, '')
from computed c
left join permitted p using (store)
left join kept k using (store)
left join kept e on e.store = '*'
where c.step = 'survey'
order by c.store;
