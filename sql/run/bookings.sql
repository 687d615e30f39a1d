-- Approved changes that have a night for certain: what to enter in the register as scheduled.
with force as (
    select plan from change_plan
    qualify row_number() over (partition by store order by number desc) = 1
)
select c.change, n.starts_local as due, n.wave || ', ' || n.team as note
from change c
join force f on f.plan = c.plan
join change_state_on((select day from register_day)) s on s.change = c.change
join change_schedule n on n.store = c.store
    and c.position between n.first_position and n.last_position
where s.state in ('approved', 'scheduled') and not n.provisional
order by c.store, c.position;
