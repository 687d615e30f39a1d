-- name: facts
-- How many rows each table of facts has, and the content of the exports they came from: while it is
-- the same, so are the keys. Facts are only ever added.
select concat_ws(' ', (select count(*) from store_seen), (select count(*) from station_seen),
    (select count(*) from ed_reading), (select count(*) from label_seen),
    (select count(*) from wifi_seen), (select count(*) from heard_seen),
    (select count(*) from network_seen), (select count(*) from inventory_answer),
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
select store, null as station, 'network' as source, count(*) as rows from network_seen group by store
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

-- name: stock_rows
-- What stations exports up to $as_of say of the stations not removed, of every store of which it is to
-- be found out who is whom: stations came or went, have other hardware than before or the same twice,
-- a list of the store's network is there, or nothing ever named one ($unseen). Where exports of one
-- day disagree, the smallest row
-- stands, as in station_listed.
with one as (
    select unnest(min(s)) from station_seen s
    where s.seen_on <= $as_of and coalesce(s.status, 'installed') in ('installed', 'planned')
    group by s.store, s.station, s.seen_on
), hardware as (
    select store, eui64, count(distinct station) as stations from one
    where eui64 is not null group by store, eui64
), due as (
    select store from one group by store
    having count(*) <> count(distinct station) * count(distinct seen_on)
        or count(distinct (station, eui64)) filter (eui64 is not null) > count(distinct station)
    union select store from hardware where stations > 1
    union select coalesce(p.to_store, n.store) from network_seen n
        left join key_pair p on p.store = n.store and p.station is null
    union select store from key_unmatched where kind = 'station'
    union select store from inventory_answer
    union select unnest($unseen::varchar[])
)
select o.store, o.station, o.seen_on, o.name, o.mounted,
    case when coalesce(o.floor::varchar, o.x_m::varchar, o.y_m::varchar) is not null then
        format('{} / {} / {}', coalesce(o.floor::varchar, '?'), coalesce(o.x_m::varchar, '?'),
            coalesce(o.y_m::varchar, '?')) end as place,
    o.eui64, o.ip_address, o.port, o.hardware
from one o semi join due using (store)
order by o.store, o.seen_on, o.station;

-- name: stock_devices
-- The latest list of each store's network up to $as_of; of one address the smallest row stands.
with upto as (
    select n.* replace (coalesce(p.to_store, n.store) as store)
    from network_seen n left join key_pair p on p.store = n.store and p.station is null
    where n.seen_on <= $as_of
), newest as (select store, max(seen_on) as seen_on from upto group by store)
select unnest(min(u)) from upto u semi join newest using (store, seen_on)
group by u.store, u.ip_address, u.port
order by store, ip_address, port;

-- name: stock_unseen
-- Installed stations of the latest list up to $as_of that no other export ever named, in stores where
-- other exports name stations or a list of the network is there.
with upto as (
    select * from station_seen where seen_on <= $as_of
), newest as (
    select store, max(seen_on) as seen_on from upto group by store
), told as (
    select distinct coalesce(p.to_store, t.store) as store,
        coalesce(p.to_station, t.station) as station
    from key_told t
    left join key_pair p on p.store = t.store and p.station is not distinct from t.station
    where t.source <> 'quarantine' and (t.station is not null or t.source = 'network')
), own as ( -- stores that exports of their own tell of, not only a neighbour that heard them
    select distinct coalesce(p.to_store, t.store) as store
    from key_told t left join key_pair p on p.store = t.store and p.station is null
    where t.source <> 'quarantine' and (t.station is not null or t.source = 'network')
)
select distinct u.store, u.station
from upto u semi join newest using (store, seen_on)
semi join own using (store)
anti join told t on t.store = u.store and t.station = u.station
where coalesce(u.status, 'installed') = 'installed'
order by u.store, u.station;

-- name: stock_elsewhere
-- The stations of other stores that had the hardware address of a device of a network list.
select distinct n.store, n.eui64, s.store as other, s.station
from network_seen n join station_seen s on s.eui64 = n.eui64 and s.store <> n.store
where s.seen_on <= $as_of
order by n.store, n.eui64, s.store, s.station;

-- name: answers
-- What was decided last of every item. As in register_day: a run on the newest export knows every
-- answer, one that looks back those up to its day.
from inventory_answer
where "on" <= if($as_of < (select max(seen_on) from station_seen), $as_of, date '9999-12-30')
qualify row_number() over (partition by item order by "on" desc, rowid desc) = 1
order by store, item;
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
