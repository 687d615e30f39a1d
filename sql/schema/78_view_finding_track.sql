-- Every finding over the runs up to this run's date: since when, until when, how often.
-- Of the run's own day only this run counts; it replaces what was run before on that day.
create or replace view finding_track as
with told as (
    select r.run, r.as_of from run r, this_run t where r.as_of < t.as_of
    union select run, as_of from this_run
), days as (select distinct as_of from told), here as (
    select f.rule, f.store, f.subject, min(t.as_of) as first_seen, max(t.as_of) as last_seen,
        count(distinct t.as_of) as days_seen
    from finding f join told t using (run)
    group by f.rule, f.store, f.subject
)
select h.*, min(d.as_of) as gone_since   -- null: it stands today
from here h left join days d on d.as_of > h.last_seen
group by all;
