-- The changes of each store's plan in force ($plan: of that plan), with what people decided on them
-- and reported last. What the program itself noted is no report of a person.
with force as (
    select plan from change_plan
    qualify row_number() over (partition by store order by number desc) = 1
), told as (
    select e.*, case when e.result is not null then 'result' else 'decision' end as kind
    from change_event e
    where (e.result is not null and e.by <> 'quietaisle')
        or (e.result is null and e.state in ('approved', 'refused', 'deferred'))
), latest as (
    select * from told qualify row_number() over (partition by change, kind order by seq desc) = 1
), nights as (
    select change, max_by(due, seq) as due from change_event where state = 'scheduled'
    group by change
)
select c.store, c.change, c.position, c.station, c.from_channel, c.to_channel, c.parking,
    c.clear_air_before, c.clear_air_after, s.state,
    case when s.state in ('scheduled', 'implemented', 'verified', 'ineffective', 'backed out')
        then n.due end as due,
    d.state as decision, d.by as decided_by, cast(d.at as date) as decided_on,
    d.note as decision_note, r.result as outcome, r.by as done_by, r.at as done_at,
    r.note as done_note
from change c
join change_state_on(date '9999-12-30') s using (change)
left join nights n on n.change = c.change
left join latest d on d.change = c.change and d.kind = 'decision'
left join latest r on r.change = c.change and r.kind = 'result'
where c.store in (select store from due_store)
    and c.plan in (select plan from force where $plan is null union all select $plan)
order by c.store, c.position;
