-- name: store-unseen
-- title: Store missing from recent exports
-- title.de: Filiale fehlt in den neueren Exporten
-- severity: fix
-- says: Last named by an export on {last_seen_on:day}, {days:# day|# days} before the run's date.
-- says.de: Zuletzt am {last_seen_on:day} in einem Export genannt, {days:# Tag|# Tage} vor dem
--   Stichtag.
-- why: Other stores were exported within the last {unseen_after_days} days, this one was not: it
--   dropped out of the export, or its system is down. What is known of it is old.
-- do: Export the store again, or record an exception if it has closed.
-- source: common practice, no published source
with dated as (
    select store, last_seen_on, date_diff('day', last_seen_on, r.as_of) as days,
        min(date_diff('day', last_seen_on, r.as_of)) over () as newest_days
    from store_now, this_run r
)
select store, 'store' as subject, last_seen_on, days
from dated
where days > limit_of('unseen_after_days') and newest_days <= limit_of('unseen_after_days')
order by store, subject;
