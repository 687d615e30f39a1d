-- Every store this run made a plan for, or could not: what its channels may be, and the day of the
-- stations export the plan rests on.
with spoken as (
    select store from plan_proof union select store from unplanned_store
)
select s.store,
    coalesce((select string_agg(distinct p.channel, ' ' order by p.channel) from permitted_channel p
        where p.store = s.store), '') as choices,
    (select max(n.seen_on) from station_now n where n.store = s.store) as seen_on
from spoken s
order by s.store;
