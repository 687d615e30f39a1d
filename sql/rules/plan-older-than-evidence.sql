-- name: plan-older-than-evidence
-- title: A plan still open rests on older evidence than there is
-- severity: watch
-- why: The stations were scanned after the plan was put forward. Its moves were worked out anew and
--   stand, but whoever decides has figures in hand that have changed since.
-- do: Send the change plan of the store out again, and decide on that one.
-- source: common practice, no published source
with force as (
    select plan, store, proposed_on from change_plan
    qualify row_number() over (partition by store order by number desc) = 1
), waiting as (
    select f.store, f.plan, f.proposed_on, count(*) as changes
    from force f
    join change c on c.plan = f.plan
    join change_state_on((select day from register_day)) s using (change)
    where s.state in ('proposed', 'deferred', 'approved')
    group by f.store, f.plan, f.proposed_on
), scanned as (
    select store, cast(max(newest_at) as date) as scanned_on
    from ed_evidence where source = 'measured' group by store
)
select w.store, 'plan ' || w.plan as subject,
    format('Put forward on {}; the newest scan is of {}, and {} still open.',
        strftime(w.proposed_on, '%Y-%m-%d'), strftime(s.scanned_on, '%Y-%m-%d'),
        if(w.changes = 1, '1 change is', w.changes || ' changes are')) as detail,
    w.proposed_on, s.scanned_on, w.changes
from waiting w join scanned s using (store)
where s.scanned_on > w.proposed_on
order by w.store, subject;
