-- name: newest_day
-- The newest day any export speaks of: the run's date where none is given.
select max(seen_on) from (
    select max(seen_on) as seen_on from store_seen
    union all select max(seen_on) from station_seen
    union all select max(seen_on) from label_seen
    union all select max(seen_on) from wifi_seen
    union all select max(seen_on) from heard_seen
    union all select cast(max(scanned_at) as date) from ed_reading
);

-- name: taken_files
-- The content the run rests on, in an order of its own.
select distinct sha256 from export_file where refused is null order by sha256;

-- name: stores
-- The stores of this run, with what decides their permitted channels.
select store, region, store_type from store_now order by store;

-- name: this_run
-- The run the views speak of.
select run, as_of from this_run;

-- name: this_day
-- The day this run speaks of.
select as_of from this_run;

-- name: rules_kept
-- The rules file of the last run.
select text from rules_kept;

-- name: keep_run
-- Keep the run once, however often the same inputs are run.
insert or ignore into run values ($run, $as_of, $version);

-- name: register_day
-- The day up to which this run knows what became of changes.
select day from register_day;

-- name: bookings
-- Approved changes that have a night for certain: what to enter in the register as scheduled.
with force as (
    select plan from change_plan
    qualify row_number() over (partition by store order by number desc) = 1
)
select c.change, n.starts_local as due, n.wave || ', ' || n.team as note
from change c
join force f on f.plan = c.plan
join change_state_on((select day from register_day)) s on s.change = c.change
join change_schedule n on n.store = c.store
    and c.position between n.first_position and n.last_position
where s.state in ('approved', 'scheduled') and not n.provisional
order by c.store, c.position;
