-- The Wi-Fi of each store in its latest Wi-Fi survey up to the run's date.
create or replace view wifi_now as
with upto as (
    select * from wifi_seen where seen_on <= (select as_of from this_run)
), newest as (select store, max(seen_on) as seen_on from upto group by store)
select u.* from upto u join newest n using (store, seen_on);
