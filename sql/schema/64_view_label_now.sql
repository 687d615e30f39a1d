-- The labels of each store in its latest labels export up to the run's date.
create or replace view label_now as
with upto as (
    select * from label_seen where seen_on <= (select as_of from this_run)
), newest as (select store, max(seen_on) as seen_on from upto group by store)
select u.* from upto u join newest n using (store, seen_on)
qualify row_number() over (partition by u.store, u.label order by u) = 1;
