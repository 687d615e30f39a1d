-- name: plan-older-than-evidence
-- title: Open plan predates the newest scan
-- title.de: Offener Plan ist älter als der neueste Scan
-- severity: watch
-- says: Put forward on {proposed_on:day}; the newest scan is of {scanned_on:day}, and
--   {changes:# change is|# changes are} still open.
-- says.de: Vorgelegt am {proposed_on:day}; der neueste Scan ist vom {scanned_on:day}, und
--   {changes:# Umstellung ist|# Umstellungen sind} noch offen.
-- why: The stations were scanned after the plan was put forward. Its moves were worked out anew and
--   stand, but the figures in the hands of whoever decides are out of date.
-- do: Send the store's change plan out again, and decide on that one.
-- source: common practice, no published source
with waiting as (
    select f.store, f.plan, f.proposed_on, count(*) as changes
    from plan_in_force f
    join change c on c.plan = f.plan
    join change_state_on((select day from register_day)) s using (change)
    where s.state in ('proposed', 'deferred', 'approved')
    group by f.store, f.plan, f.proposed_on
), scanned as (
    select store, cast(max(newest_at) as date) as scanned_on
    from ed_evidence where source = 'measured' group by store
)
select w.store, 'plan ' || w.plan as subject, w.proposed_on, s.scanned_on, w.changes
from waiting w join scanned s using (store)
where s.scanned_on > w.proposed_on
order by w.store, subject;
