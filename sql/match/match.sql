-- name: facts
-- How many rows each table of facts has, and the content of the exports they came from: while it is
-- the same, so are the keys. Facts are only ever added.
select concat_ws(' ', (select count(*) from store_seen), (select count(*) from station_seen),
    (select count(*) from ed_reading), (select count(*) from label_seen),
    (select count(*) from wifi_seen), (select count(*) from heard_seen),
    (select count(*) from quarantined_row),
    (select string_agg(distinct sha256, ' ' order by sha256) from export_file)) as facts;

-- name: told
-- Every store and station that exports name, with the kind of export and how many rows do.
-- Of rows in quarantine only the store is known.
create or replace temp table key_told as
select store, station, 'scans' as source, cast(sum(readings) as bigint) as rows
from ed_reading group by store, station
union all by name
select store, station, 'labels' as source, count(*) as rows from label_seen group by store, station
union all by name
select store, station, 'Wi-Fi' as source, count(*) as rows from wifi_seen group by store, station
union all by name
select store, station, 'levels' as source, count(*) as rows
from (select store, station from heard_seen
    union all by name
    select coalesce(neighbour_store, store) as store, neighbour as station from heard_seen)
group by store, station
union all by name
select store, null as station, 'stores' as source, count(*) as rows from store_seen group by store
union all by name
select distinct store, null as station, 'quarantine' as source, cast(0 as bigint) as rows
from quarantined_row where store is not null;

-- name: strangers
-- Whether exports name any store or station that no stations export lists.
select exists (from key_told t anti join station_seen s on s.store = t.store)
    or exists (
        from key_told t anti join station_seen s on s.store = t.store and s.station = t.station
        where t.station is not null
    ) as strangers;

-- name: mentions
-- Every store and station that exports name.
from key_told order by store, station, source;

-- name: listed
-- Every station that stations exports list, with each pair of addresses they ever gave it.
select distinct store, station, eui64, ip_address from station_seen
order by store, station, eui64, ip_address;

-- name: only_heard
-- The stations, by store, that its stations heard and nothing else names: some may be next door.
select store as key, list(distinct station order by station) as value
from key_told t
where source = 'levels'
    and not exists (from key_told o where o.store = t.store and o.station = t.station
        and o.source <> 'levels')
    and not exists (from heard_seen h where h.store = t.store and h.station = t.station)
    and not exists (from station_seen s where s.store = t.store and s.station = t.station)
group by store order by store;

-- name: drop_told
-- Drop what was worked out on the way.
drop table if exists key_told;

-- name: keep_known
-- Note the stores and stations that no run has met before, with this run.
insert into key_known by name
select store, station, run from (
    select store, cast(null as varchar) as station from store_now
    union all by name
    select store, station from station_now
) n cross join this_run
where not exists (from key_known k where k.store = n.store and k.station is not distinct from n.station)
order by store, station;

-- name: new_keys
-- The stores and stations that this run met first, where an earlier one met others. Of a new store
-- its stations are not named. `gone` are the keys it may have been before: those known and, unlike
-- it, not in the newest export.
with own as (
    select k.store, k.station from key_known k join this_run using (run)
    where exists (from key_known e where e.run <> k.run)
), new_store as (
    select o.store, s.last_seen_on from own o join store_now s using (store) where o.station is null
)
select n.store, cast(null as varchar) as station,
    coalesce((select list(s.store order by s.store) from store_now s
        where s.last_seen_on < n.last_seen_on and s.store not in (select store from new_store)),
        []) as gone
from new_store n
union all by name
select o.store, o.station,
    coalesce((select list(k.station order by k.station) from key_known k
        anti join station_now s on s.store = k.store and s.station = k.station
        where k.store = o.store and k.station is not null), []) as gone
from own o join station_now n using (store, station)
where o.store not in (select store from new_store)
order by station is not null, store, station;

-- name: matches
-- The keys taken for listed ones, by kind of export and way: of how many stores or stations.
select source, kind, way, count(distinct (store, written)) as keys, cast(sum(rows) as bigint) as rows
from key_match
group by source, kind, way
order by kind desc, keys desc, source, way;

-- name: unmatched
-- How many stores and stations exports name that were taken for none.
select count(distinct written) filter (kind = 'store') as stores,
    count(distinct (store, written)) filter (kind = 'station') as stations
from key_unmatched;
