-- name: store_matched
-- Stores as described, under their listed keys.
create or replace view store_matched as
select distinct s.* replace (coalesce(p.to_store, s.store) as store)
from store_seen s left join key_pair p on p.store = s.store and p.station is null;

-- name: store_file_matched
-- Which files told of a store, under its listed key.
create or replace view store_file_matched as
select distinct f.sha256, coalesce(p.to_store, f.store) as store
from store_file f left join key_pair p on p.store = f.store and p.station is null;

-- name: reading_matched
-- Energy readings under the listed keys. Of equal readings that come under several written keys the
-- larger count stands, as where files differ in it.
create or replace view reading_matched as
select r.*
from ed_reading r anti join key_pair p on p.store = r.store and p.station = r.station
union all by name
select r.* replace (p.to_store as store, p.to_station as station)
from ed_reading r join key_pair p on p.store = r.store and p.station = r.station and p.alone
union all by name
select p.to_store as store, p.to_station as station, scanned_at, clock, channel, level_dbm,
    statistic, dwell_ms, own_quiet, max(readings) as readings
from ed_reading r join key_pair p on p.store = r.store and p.station = r.station and not p.alone
group by all;

-- name: label_matched
-- Labels under the listed keys; no row twice.
create or replace view label_matched as
select l.*
from label_seen l anti join key_pair p on p.store = l.store and p.station is not distinct from l.station
union all by name
select l.* replace (p.to_store as store, p.to_station as station)
from label_seen l
join key_pair p on p.store = l.store and p.station is not distinct from l.station and p.alone
union all by name
select distinct l.* replace (p.to_store as store, p.to_station as station)
from label_seen l
join key_pair p on p.store = l.store and p.station is not distinct from l.station
    and not p.alone;

-- name: wifi_matched
-- Wi-Fi networks under the listed keys; no row twice.
create or replace view wifi_matched as
select w.*
from wifi_seen w anti join key_pair p on p.store = w.store and p.station is not distinct from w.station
union all by name
select w.* replace (p.to_store as store, p.to_station as station)
from wifi_seen w
join key_pair p on p.store = w.store and p.station is not distinct from w.station and p.alone
union all by name
select distinct w.* replace (p.to_store as store, p.to_station as station)
from wifi_seen w
join key_pair p on p.store = w.store and p.station is not distinct from w.station
    and not p.alone;

-- name: heard_matched
-- Levels from station to station under the listed keys; no row twice. `neighbour_store` is null where
-- both are of one store.
create or replace view heard_matched as
select distinct h.* replace (coalesce(s.to_store, h.store) as store,
    coalesce(s.to_station, h.station) as station, coalesce(n.to_station, h.neighbour) as neighbour,
    nullif(coalesce(n.to_store, h.neighbour_store, h.store), coalesce(s.to_store, h.store))
        as neighbour_store)
from heard_seen h
left join key_pair s on s.store = h.store and s.station = h.station
left join key_pair n on n.store = coalesce(h.neighbour_store, h.store) and n.station = h.neighbour;

-- name: unlisted_station
-- Stations that exports name and that match no listed one, by store and cause.
create or replace view unlisted_station as
with named as (
    select store, cause, written, likely, sum(rows) as rows from key_unmatched
    where kind = 'station' and cause <> 'ignored' group by store, cause, written, likely
)
select n.store, n.cause, count(*) as stations, cast(sum(n.rows) as bigint) as rows,
    (select list(distinct k.source order by k.source) from key_unmatched k
        where k.kind = 'station' and k.store = n.store and k.cause = n.cause) as sources,
    list({'key': n.written, 'likely': n.likely} order by n.rows desc, n.written) as named
from named n
group by n.store, n.cause;

-- name: unlisted_store
-- Stores that exports name and that match no listed one, by cause.
create or replace view unlisted_store as
with named as (
    select cause, written, likely, sum(rows) as rows from key_unmatched
    where kind = 'store' group by cause, written, likely
)
select n.cause, count(*) as stores, cast(sum(n.rows) as bigint) as rows,
    (select list(distinct k.source order by k.source) from key_unmatched k
        where k.kind = 'store' and k.cause = n.cause) as sources,
    list({'key': n.written, 'likely': n.likely} order by n.rows desc, n.written) as named
from named n
group by n.cause;
