-- The stations of each store in its latest stations export up to the run's date.
-- One that the latest export no longer lists stays in station_history and is a finding, not a row.
create or replace view station_now as
with upto as (
    select * from station_seen where seen_on <= (select as_of from this_run)
), newest as (select store, max(seen_on) as seen_on from upto group by store)
select unnest(min(u)) from upto u join newest n using (store, seen_on)
group by u.store, u.station;
