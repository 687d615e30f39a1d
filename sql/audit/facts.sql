-- name: as_of
-- The day of the run.
select as_of from this_run;

-- name: began
-- The day of the first stations export of any store.
select min(seen_on) from station_seen;

-- name: first_run
-- The day of the first run.
select min(as_of) from run;

-- name: stations
-- What every stations export up to $last says of each installed station: one row a station and day.
-- Where exports of one day disagree, the smallest row stands, as in station_now; a rule reports it.
with one as (
    select unnest(min(s)) from station_seen s
    where s.seen_on <= $last and ($store is null or s.store = $store)
    group by s.store, s.station, s.seen_on
)
select * exclude (floor, x_m, y_m, connected, status) replace (
        printf('0x%04X', pan_id) as pan_id, format('{:g}', tx_power_dbm) as tx_power_dbm),
    case when coalesce(floor::varchar, x_m::varchar, y_m::varchar) is not null then
        format('{} / {} / {}', coalesce(floor::varchar, '?'), coalesce(format('{:g}', x_m), '?'),
            coalesce(format('{:g}', y_m), '?')) end as place
from one where status is null or status = 'installed'
order by store, seen_on, station;

-- name: decided
-- What people said of stations that are new on the list or have other hardware than before: the name
-- each had before, none where it is a new one.
select store, found_on as seen_on, subject as station, if(decision = 'match', station, null) as before
from inventory_answer
where what in ('renamed', 'changed') and ($store is null or store = $store) and found_on <= $last
qualify row_number() over (partition by item order by "on" desc, rowid desc) = 1
    and decision in ('add', 'match')
order by item;

-- name: exceptions
-- Exceptions as runs up to $last met them on file or off it, in that order.
select * from exception_file
where as_of <= $last
order by store, rule, subject, until, reason, approved_by, rowid;

-- name: changes
-- The changes of the register, store by store in the order they were proposed.
select * from change
where $store is null or store = $store
order by store, proposed_on, plan, position, change;

-- name: events
-- What became of every change up to the end of $last, change by change, oldest first. Times are
-- on the store's own clock, so a day here is a day of the store's own calendar.
select e.* from change_event e join change c using (change)
where e.at < $last + interval 1 day and ($store is null or c.store = $store)
order by e.change, e.seq;

-- name: given
-- When the approvals that a new plan repeats were given, by the number of the event.
select t.seq as key, t.said_on as value from change_told t join change c using (change)
where t.carried is not null and ($store is null or c.store = $store)
order by t.seq;

-- name: air
-- Clear air of the stations of a store as runs up to $last noted it, oldest first.
select * from clear_air_kept
where store = $store and as_of <= $last
order by station, as_of, rowid;
