-- name: store-unseen
-- title: No export names a store any more
-- severity: fix
-- why: Other stores were exported within the last {unseen_after_days} days, this one was not: it
--   dropped out of the export, or its system is down. What is known of it is old.
-- do: Export the store again, or record an exception if it has closed.
-- source: common practice, no published source
with dated as (
    select store, last_seen_on, date_diff('day', last_seen_on, r.as_of) as days,
        min(date_diff('day', last_seen_on, r.as_of)) over () as newest_days
    from store_now, this_run r
)
select store, 'store' as subject,
    format('Last named by an export on {}, {} before the run''s date.',
        strftime(last_seen_on, '%Y-%m-%d'), counted(days, 'day')) as detail,
    last_seen_on, days
from dated
where days > (select value from setting where name = 'unseen_after_days')
    and newest_days <= (select value from setting where name = 'unseen_after_days')
order by store, subject;
