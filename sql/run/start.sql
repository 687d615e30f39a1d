-- name: newest_day
-- The newest believable day any export speaks of: the run's date where none is given.
select max(seen_on) from (
    select max(seen_on) as seen_on from store_seen where seen_on <= $latest
    union all select max(seen_on) from station_seen where seen_on <= $latest
    union all select max(seen_on) from label_seen where seen_on <= $latest
    union all select max(seen_on) from wifi_seen where seen_on <= $latest
    union all select max(seen_on) from heard_seen where seen_on <= $latest
    union all select max(seen_on) from network_seen where seen_on <= $latest
    union all select cast(max(scanned_at) as date) from ed_reading
        where cast(scanned_at as date) <= $latest
);

-- name: taken_files
-- The content the run rests on, with its day, which may come from a name, in an order of its own.
select distinct concat_ws(' ', sha256, exported_on) as content from export_file
where kind is not null order by content;

-- name: told_of_files
-- What findings tell of files by their names: those refused, and those with rows in quarantine.
select concat_ws(' ', sha256, rows_read, refused, file) from export_now
where refused is not null or rows_quarantined > 0
order by all;

-- name: told_by_people
-- What people entered: decisions, results and baselines. The rest follows from these and the exports,
-- also what is proposed, in whose name ever, and an approval that a new plan repeats.
select concat_ws(' ', change, state, "at", "by", note, result, due, channel, until, workbook)
from change_event
where ("by" <> $program and state <> 'proposed' and carried is null) or state = 'scheduled'
order by seq;

-- name: agreed_by_people
-- The baselines that people approved.
select concat_ws(' ', store, version, approved_by, approved_on, reason,
    md5(string_agg(concat_ws(' ', station, field, value), ' ' order by station, field)))
from baseline where change is null
group by store, version, approved_by, approved_on, reason
order by store, version;

-- name: found_by_people
-- What people decided of what is there and not listed.
select concat_ws(' ', item, decision, station, channel, until, "by", "on", note)
from inventory_answer order by rowid;

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
-- Note the run that judges now, once.
insert into run by name
select run, as_of, $version as version from this_run
where run not in (select run from run);

-- name: register_day
-- The day up to which this run knows what became of changes.
select day from register_day;

-- name: bookings
-- Approved changes that have a night for certain: what to enter in the register as scheduled.
select m.change, n.starts_local as due, n.wave || ', ' || n.team as note
from move_story m
join change_schedule n on n.store = m.store
    and m.position between n.first_position and n.last_position
where m.state in ('approved', 'scheduled') and not n.provisional
order by m.store, m.position;
