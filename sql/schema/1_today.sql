-- name: store_history
-- A store's description with the days it held: from the day first seen so until the next change.
create or replace view store_history as
with one as (   -- where exports of one day disagree, the smallest row stands; a rule reports it
    select unnest(min(s)) from store_matched s group by s.store, s.seen_on
), marked as (
    select *, seen_on as valid_from,
        row(*columns(* exclude (seen_on))) as facts,
        lag(facts) over (partition by store order by seen_on) as earlier
    from one
), changed as (select * from marked where earlier is distinct from facts)
select * exclude (seen_on, facts, earlier),
    lead(valid_from) over (partition by store order by valid_from) as valid_to
from changed;

-- name: station_history
-- A station's configuration with the days it held. `connected` is a state, not configuration,
-- and is left out here: station_now has the latest.
create or replace view station_history as
with one as (   -- where exports of one day disagree, the smallest row stands; a rule reports it
    select unnest(min(s)) from station_seen s group by s.store, s.station, s.seen_on
), marked as (
    select *, seen_on as valid_from,
        row(*columns(* exclude (seen_on, connected))) as facts,
        lag(facts) over (partition by store, station order by seen_on) as earlier
    from one
), changed as (select * from marked where earlier is distinct from facts)
select * exclude (seen_on, connected, facts, earlier),
    lead(valid_from) over (partition by store, station order by valid_from) as valid_to
from changed;

-- name: store_now
-- Each store as last described up to the run's date. A store that only other exports name is
-- here too, without a description, so that nothing it sent is out of sight.
create or replace view store_now as
with named as (
    select store, seen_on from store_matched union all
    select store, seen_on from station_seen
), last_seen as (
    select store, max(seen_on) as last_seen_on
    from named where seen_on <= (select as_of from this_run) group by store
), latest as (
    select unnest(max_by(s, (s.seen_on, s))) from store_matched s
    where s.seen_on <= (select as_of from this_run) group by s.store
)
select l.store, coalesce(t.name, l.store) as name, coalesce(t.region, 'no region') as region,
    t.country, t.store_type, t.time_zone, t.opens, t.closes, t.site,
    t.seen_on as described_on, l.last_seen_on
from last_seen l left join latest t using (store);

-- name: station_listed
-- The stations of each store in its latest stations export up to the run's date, whatever their
-- status: the one decided where the export says none or is older. One that the latest export no longer
-- lists stays in station_history and is a finding, not a row. Those that people added are listed too,
-- until an export does; of two that people said are one, the one that was listed first.
create or replace view station_listed as
with upto as (
    select * from station_seen where seen_on <= (select as_of from this_run)
), newest as (select store, max(seen_on) as seen_on from upto group by store
), told as (
    select unnest(min(u)) from upto u join newest n using (store, seen_on)
    group by u.store, u.station
), latest as (
    from told t anti join inventory_item i
        on i.store = t.store and i.subject = t.station and i.what = 'twice' and i.decision = 'match'
    union all by name
    select i.store, i.station, n.seen_on, i.channel, i.eui64, i.ip_address, i.port,
        i.device as hardware, 'installed' as status
    from inventory_item i join newest n using (store)
    anti join told t on t.store = i.store and t.station = i.station
    where i.decision = 'add' and i.what in ('unlisted', 'network')
), decided as (
    select store, station, max_by(status, (since, status)) as status, max(since) as since
    from station_status where since <= (select as_of from this_run) group by store, station
)
select l.* replace (if(d.since > l.seen_on or l.status is null, coalesce(d.status, l.status),
    l.status) as status)
from latest l left join decided d using (store, station);

-- name: station_now
-- The stations of each store that are installed.
create or replace view station_now as
from station_listed where status is null or status = 'installed';

-- name: station_in_plan
-- The stations that a plan gives a channel: those installed, and those to be installed. One that is
-- not on the air has no channel, whatever its export has in mind for it.
create or replace view station_in_plan as
select * replace (if(status = 'planned', null, channel) as channel)
from station_listed where status is null or status in ('installed', 'planned');

-- name: station_planned
-- The stations of each store that are still to be installed.
create or replace view station_planned as
from station_in_plan where status = 'planned';

-- name: station_housing
-- Pairs of radios in one housing, each way round: they share place and address, each at its own port.
create or replace view station_housing as
select a.store, a.station, b.station as beside
from station_in_plan a
join station_in_plan b on b.store = a.store and b.ip_address = a.ip_address and b.port <> a.port
    and row(b.floor, b.x_m, b.y_m) is not distinct from row(a.floor, a.x_m, a.y_m);

-- name: label_now
-- The labels of each store in its latest labels export up to the run's date. Where exports of that
-- day disagree on a label, the smallest row stands; only such labels are sorted, for speed.
create or replace view label_now as
with upto as (
    select * from label_matched where seen_on <= (select as_of from this_run)
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

-- name: station_housed
-- `housing` names the other radios in a station's housing, `housing_lone_labels` counts the labels of
-- them all that hear no more stations than hang there.
create or replace view station_housed as
with boxed as (
    select store, station, list(beside order by beside) as beside
    from station_housing group by store, station
)
select b.store, b.station, array_to_string(b.beside, ', ') as housing,
    count(*) filter (n.stations_heard <= len(b.beside) + 1) as housing_lone_labels
from boxed b left join label_now n on n.store = b.store
    and (n.station = b.station or list_contains(b.beside, n.station))
group by b.store, b.station, b.beside;

-- name: wifi_now
-- The Wi-Fi of each store in its latest Wi-Fi survey up to the run's date.
create or replace view wifi_now as
with upto as (
    select * from wifi_matched where seen_on <= (select as_of from this_run)
), newest as (select store, max(seen_on) as seen_on from upto group by store)
select u.* from upto u join newest n using (store, seen_on);

-- name: heard_now
-- The latest measured level of each pair of a store up to the run's date; several of one day averaged
-- in mW.
create or replace view heard_now as
with upto as (
    select * from heard_matched
    where seen_on <= (select as_of from this_run) and neighbour_store is null
), newest as (
    select store, station, neighbour, max(seen_on) as seen_on
    from upto group by store, station, neighbour
)
select u.store, u.station, u.neighbour, u.seen_on,
    round(10 * log10(fsum(pow(10, u.level_dbm / 10)) / count(*)), 3) as level_dbm
from upto u join newest n using (store, station, neighbour, seen_on)
group by u.store, u.station, u.neighbour, u.seen_on;

-- name: heard_next_door
-- The same of each pair of two stores, which only few exports have.
create or replace view heard_next_door as
with upto as (
    select * from heard_matched
    where seen_on <= (select as_of from this_run) and neighbour_store is not null
), newest as (
    select store, station, neighbour_store, neighbour, max(seen_on) as seen_on
    from upto group by all
)
select store, station, neighbour_store, neighbour, u.seen_on,
    round(10 * log10(fsum(pow(10, u.level_dbm / 10)) / count(*)), 3) as level_dbm
from upto u join newest using (store, station, neighbour_store, neighbour, seen_on)
group by all;

-- name: store_neighbour
-- Pairs of stores, each way round, that name one site, or of which a station heard one of the other.
create or replace view store_neighbour as
with heard as (select distinct store, neighbour_store as other from heard_next_door)
select a.store, b.store as other
from store_now a join store_now b on a.site = b.site and a.store <> b.store
union select store, other from heard
union select other, store from heard;

-- name: store_listens
-- What the labels of a store's latest labels export listen on: one row per list of channels.
create or replace view store_listens as
with told as (
    select store, seen_on, channels, count(*) as labels from label_matched
    where seen_on <= (select as_of from this_run)
    group by store, seen_on, channels
), latest as (
    select * from told qualify seen_on = max(seen_on) over (partition by store)
)
select store, channels, labels from latest where channels is not null;

-- name: export_now
-- Every export file as it was taken last: one that came again mended replaces the faulty one.
create or replace view export_now as
select * from export_file
qualify row_number() over (partition by file order by rowid desc) = 1;

-- name: told_twice
-- Stations, and stores (subject 'store'), that the exports of the latest day that names them give
-- more than once, each time with other facts.
create or replace view told_twice as
with told_on as (
    select store, station as subject, seen_on, count(*) as times
    from station_seen group by store, station, seen_on
    union all
    select store, 'store', seen_on, count(*) from store_matched group by store, seen_on
)
select store, subject, max(seen_on) as seen_on
from told_on
where seen_on <= (select as_of from this_run)
group by store, subject
having max_by(times, seen_on) > 1;

-- name: held_store
-- Stores that are not planned, since a station of theirs stands somewhere on a channel that is not
-- known: one that other exports name, or whose row in the stations export could not be taken. Nor is
-- one where a station may be another for which people have agreed on a change: another plan would end
-- that.
create or replace view held_store as
with reasons as (
    select distinct store, 'station-unlisted' as cause, written as subject
    from key_unmatched where kind = 'station' and cause <> 'ignored'
    union all
    select coalesce(p.to_store, q.store), 'station-refused', format('{}, line {}', q.file, q.line)
    from quarantined_row q
    join export_now x on x.file = q.file and x.sha256 = q.sha256
    left join key_pair p on p.store = q.store and p.station is null
    where x.kind = 'stations' and x.refused is null and q.store is not null
        and q.problem <> 'band-other'
    union all
    select i.store, 'station-renamed', i.subject
    from inventory_item i
    join change c on c.store = i.store and list_contains(string_split(i.likely, ', '), c.station)
    join (select change, max_by(state, seq) as state from change_event group by change) s
        on s.change = c.change
    where i.open and i.what = 'renamed' and s.state in ('approved', 'scheduled', 'implemented')
)
select store, cause, min(subject) as subject, count(*) as stations
from reasons
where (select value from setting where name = 'plan_with_unlisted_stations') = 0
group by store, cause
qualify row_number() over (partition by store order by cause desc) = 1;
