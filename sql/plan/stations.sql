-- Every station of today with what the plan needs of it. `kept_on` is the channel it is held to:
-- its own, where an approved exception to channel-not-permitted keeps it there; the one it is to
-- move to, where that change of the plan in force is approved, scheduled, or made and not yet
-- verified: what people have agreed on is not planned anew.
with force as (
    select plan from change_plan
    qualify row_number() over (partition by store order by number desc) = 1
), agreed as (
    select c.store, c.station, max_by(c.to_channel, c.position) as channel
    from change c
    join force f on f.plan = c.plan
    join change_state_on((select day from register_day)) s on s.change = c.change
    where s.state in ('approved', 'scheduled', 'implemented')
    group by c.store, c.station
)
select n.store, n.station, n.channel, l.weight, l.air_share,
    case when exists (
        select 1 from exception x, this_run r
        where x.rule = 'channel-not-permitted' and x.until >= r.as_of
            and x.store in ('*', n.store) and x.subject in ('*', n.station)
    ) then n.channel else a.channel end as kept_on
from station_now n semi join due_store using (store)
join station_load l on l.store = n.store and l.station = n.station
left join agreed a on a.store = n.store and a.station = n.station
where n.channel is not null
order by n.store, n.station;
