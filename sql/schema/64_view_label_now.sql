-- The labels of each store in its latest labels export up to the run's date. Where exports of that
-- day disagree on a label, the smallest row stands; only such labels are sorted, for speed.
create or replace view label_now as
with upto as (
    select * from label_seen where seen_on <= (select as_of from this_run)
), newest as (
    select store, max(seen_on) as seen_on from upto group by store
), latest as (
    select u.* from upto u join newest n using (store, seen_on)
), twice as (
    select store, label from latest group by store, label having count(*) > 1
)
select l.* from latest l anti join twice using (store, label)
union all
select l.* from latest l semi join twice using (store, label)
qualify row_number() over (partition by l.store, l.label order by l) = 1;
