-- Changes that are behind: their night has passed, they have none, or nobody could check them yet.
select n.region, c.store, n.name, c.station, c.from_channel, c.to_channel,
    case s.state when 'scheduled' then 'overdue' when 'approved' then 'no_night'
        else 'unchecked' end as why,
    coalesce(s.due::date, s.at::date) as since, u.reason
from change c
join change_state_on((select day from register_day)) s using (change)
join store_now n using (store)
left join unscheduled_store u using (store)
where not c.parking and (s.state in ('implemented', 'approved')
    or s.state = 'scheduled' and s.due < (select as_of from this_run))
order by n.region, why, since, c.store, c.station;
