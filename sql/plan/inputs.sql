-- What the plan of each store surveyed is made from, apart from its stations: its survey, which
-- stands for evidence, earshot and labels, and the channels permitted.
with permitted as (
    select store, string_agg(channel, ' ' order by channel) as channels
    from permitted_channel group by store
)
select c.store, c.fingerprint, p.channels
from computed c left join permitted p using (store)
where c.step = 'survey'
order by c.store;
