-- The changes of every plan in force, where each stands, and when it was carried out.
with force as (
    select plan from change_plan
    qualify row_number() over (partition by store order by number desc) = 1
), carried as (
    select change, max("at") as carried_at from change_event where state = 'implemented' group by change
)
select c.store, c.change, c.station, c.from_channel, c.to_channel, c.position, c.parking,
    s.state, s.at, a.carried_at
from change c
join force f on f.plan = c.plan
join change_state_on(date '9999-12-30') s on s.change = c.change
left join carried a on a.change = c.change
order by c.store, c.position;
