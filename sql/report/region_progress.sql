-- How the rollout went and will go on: changes carried out by day, those that failed left out, and
-- those scheduled from today on.
with day as (select as_of from this_run), standing as (
    select c.store, c.change, s.state, s.due
    from change c join change_state_on((select day from register_day)) s using (change)
    where not c.parking
), done as (
    select s.store, s.change, min(e.at::date) as on_day
    from standing s join change_event e using (change)
    where s.state in ('implemented', 'verified')
        and e.state in ('implemented', 'verified')
    group by s.store, s.change
), steps as (
    select store, on_day, true as done from done
    union all
    select store, greatest(due::date, (select as_of from day)), false
    from standing where state = 'scheduled'
)
select n.region, s.on_day, s.done, count(*)
from steps s join store_now n using (store)
group by n.region, s.on_day, s.done
order by n.region, s.on_day, s.done;
