-- Every finding over the runs up to this run's date: when first and last seen, since when it has
-- stood without a break, since when it is gone (null: it stands today).
-- Of the run's own day only this run counts; it replaces what was run before on that day.
create or replace view finding_track as
with told as (
    select r.run, r.as_of from run r, this_run t where r.as_of < t.as_of
    union select run, as_of from this_run
), days as (
    select as_of, row_number() over (order by as_of) as nth from (select distinct as_of from told)
), seen as (
    select distinct f.rule, f.store, f.subject, d.as_of, d.nth
    from finding f join told t using (run) join days d using (as_of)
), numbered as (   -- within one unbroken stretch of days the difference stays the same
    select *, nth - row_number() over (partition by rule, store, subject order by nth) as stretch
    from seen
), stretches as (
    select rule, store, subject, min(as_of) as begun, max(as_of) as ended
    from numbered group by rule, store, subject, stretch
), tracked as (
    select rule, store, subject, min(begun) as first_seen, max(begun) as standing_since,
        max(ended) as last_seen
    from stretches group by rule, store, subject
)
select k.rule, k.store, k.subject, k.first_seen, k.standing_since, k.last_seen,
    min(d.as_of) as gone_since
from tracked k left join days d on d.as_of > k.last_seen
group by all;
