-- name: facts
-- What is known of each store, folded to a figure a table: facts are sets, so the order in which
-- they came does not count.
select store, 'ed_reading' as kind, count(*) as rows, bit_xor(hash(f)) as content
from reading_matched f group by store
union all by name
select store, 'heard_seen' as kind, count(*) as rows, bit_xor(hash(f)) as content
from heard_matched f group by store
union all by name
select store, 'label_seen' as kind, count(*) as rows, bit_xor(hash(f)) as content
from label_matched f group by store
union all by name
select store, 'station_seen' as kind, count(*) as rows, bit_xor(hash(f)) as content
from station_seen f group by store
union all by name
select store, 'station_status' as kind, count(*) as rows, bit_xor(hash(f)) as content
from station_status f group by store
union all by name
select store, 'store_seen' as kind, count(*) as rows, bit_xor(hash(f)) as content
from store_matched f group by store
union all by name
select store, 'wifi_seen' as kind, count(*) as rows, bit_xor(hash(f)) as content
from wifi_matched f group by store
order by store, kind;

-- name: pairs
-- Every ordered pair of stations of a store, with what is known of the path between them.
-- `measured_dbm` is the level heard; `reverse_dbm` the level heard the other way round.
with stations as (
    select n.store, n.station, n.floor, n.x_m, n.y_m,
        -- One to be installed will be set within the limit.
        least(coalesce(n.tx_power_dbm, s.value), if(n.status = 'planned', (
            select value from setting where name = 'tx_power_limit_dbm'), null)) as tx_power_dbm
    from station_in_plan n, setting s where s.name = 'default_tx_power_dbm'
)
select a.store, a.station, b.station as neighbour,
    a.tx_power_dbm as own_power_dbm, b.tx_power_dbm as neighbour_power_dbm,
    case when b.x_m is not null and b.y_m is not null and a.x_m is not null and a.y_m is not null
        then sqrt(pow(a.x_m - b.x_m, 2) + pow(a.y_m - b.y_m, 2)) end as flat_m,
    abs(coalesce(a.floor, 0) - coalesce(b.floor, 0)) as floors,
    h.level_dbm as measured_dbm, r.level_dbm as reverse_dbm, null as neighbour_store
from stations a join stations b on a.store = b.store and a.station <> b.station
left join heard_now h on h.store = a.store and h.station = a.station and h.neighbour = b.station
left join heard_now r on r.store = a.store and r.station = b.station and r.neighbour = a.station
order by a.store, a.station, b.station;

-- name: of_one_site
-- Pairs of stores that name one site.
select a.store, b.store as other
from store_now a join store_now b on a.site = b.site and a.store <> b.store
order by a.store, b.store;

-- name: pairs_next_door
-- Every pair of stations of two stores that are neighbours, each way round, with what is known of the
-- path between them. In stores of one site those that nobody measured are taken to be
-- site_distance_m apart; of others nothing says how far.
with stations as (
    select n.store, n.station,
        least(coalesce(n.tx_power_dbm, s.value), if(n.status = 'planned', (
            select value from setting where name = 'tx_power_limit_dbm'), null)) as tx_power_dbm
    from station_in_plan n, setting s where s.name = 'default_tx_power_dbm'
), beside as (
    select i.store, i.other, if(a.site = b.site, d.value, null) as flat_m
    from store_neighbour i join store_now a using (store) join store_now b on b.store = i.other
    cross join (select value from setting where name = 'site_distance_m') d
)
select i.store, a.station, i.other as neighbour_store, b.station as neighbour,
    a.tx_power_dbm as own_power_dbm, b.tx_power_dbm as neighbour_power_dbm, i.flat_m, 0 as floors,
    h.level_dbm as measured_dbm, r.level_dbm as reverse_dbm
from beside i
join stations a using (store) join stations b on b.store = i.other
left join heard_next_door h on h.store = i.store and h.station = a.station
    and h.neighbour_store = i.other and h.neighbour = b.station
left join heard_next_door r on r.store = i.other and r.station = b.station
    and r.neighbour_store = i.store and r.neighbour = a.station
order by i.store, a.station, i.other, b.station;

-- name: neighbours
-- Pairs of stores that are neighbours, each way round.
from store_neighbour order by store, other;

-- name: facts_next_door
-- What the air of a store rests on next door: who is heard there, and what they send when.
with other as (
    select distinct store, neighbour_store as other from earshot_next_door
)
select store, 'heard' as kind, count(*) as rows, bit_xor(hash(e)) as content
from earshot_next_door e group by store
union all by name
select o.store, 'stations' as kind, count(*) as rows, bit_xor(hash(f)) as content
from other o join station_seen f on f.store = o.other group by o.store
union all by name
select o.store, 'labels' as kind, count(*) as rows, bit_xor(hash(f)) as content
from other o join label_matched f on f.store = o.other group by o.store
union all by name
select o.store, 'status' as kind, count(*) as rows, bit_xor(hash(f)) as content
from other o join station_status f on f.store = o.other group by o.store
order by store, kind;

-- name: next_door
-- What the stations next door were set to, and when: our own traffic too.
create or replace temp table next_door as
select e.store, e.station, h.channel, h.valid_to,
    if(h.valid_from = min(h.valid_from) over (partition by e.store, e.station, h.store, h.station),
        null, h.valid_from) as valid_from,
    coalesce(l.air_share, 0) as air_share, e.hit_co, e.hit_adjacent, e.hit_alternate
from earshot_next_door e
join station_history h on h.store = e.neighbour_store and h.station = e.neighbour
    and coalesce(h.status, 'installed') = 'installed'
left join station_load l on l.store = h.store and l.station = h.station;

-- name: payloads
-- The distinct payload sizes of labels, in whole octets, so that air time is computed once each; the
-- one that stands for labels that do not say is always among them.
select distinct cast(ceil(coalesce(l.payload_octets, s.value)) as bigint) as payload_octets
from (select distinct payload_octets from label_matched
    union by name select null as payload_octets) l, setting s
where s.name = 'default_payload_octets'
order by payload_octets;

-- name: station_load
-- What each station of today carries. `incoming` gives the air time of one update per payload size.
-- Without a labels export of its store a station is taken to serve a usual number of labels, so that
-- sharing a channel has its price; a station still to be installed, as many as those installed do on
-- average.
insert into station_load by name
with limits as (
    select max(value) filter (name = 'weak_label_dbm') as weak_dbm,
        max(value) filter (name = 'silent_after_days') as silent_days,
        max(value) filter (name = 'default_updates_per_day') as updates,
        max(value) filter (name = 'default_payload_octets') as octets,
        max(value) filter (name = 'updates_hours_per_day') as hours,
        max(value) filter (name = 'default_labels_per_station') as labels
    from setting
), usual as (
    select any_value(l.labels * l.updates * a.air_ms / (l.hours * 3600000)) as air_share
    from limits l join incoming a on a.payload_octets = cast(ceil(l.octets) as bigint)
), counted as (
    select n.store, n.station, count(*) as labels,
        count(*) filter (n.level_dbm < l.weak_dbm) as weak_labels,
        count(*) filter (n.seen_on - n.last_heard_on > l.silent_days) as silent_labels,
        count(*) filter (n.stations_heard <= 1) as lone_labels, count(n.level_dbm) as levels,
        fsum(coalesce(n.updates_per_day, l.updates) * a.air_ms) / any_value(l.hours * 3600000)
            as air_share
    from label_now n, limits l, incoming a
    where a.payload_octets = cast(ceil(coalesce(n.payload_octets, l.octets)) as bigint)
    group by n.store, n.station
), stations as (
    select s.store, s.station, coalesce(c.labels, 0) as labels,
        if(s.status = 'planned', 0, coalesce(c.weak_labels, 0)) as weak_labels,
        if(s.status = 'planned', 0, coalesce(c.silent_labels, 0)) as silent_labels,
        if(s.status = 'planned', 0, coalesce(c.lone_labels, 0)) as lone_labels,
        coalesce(c.air_share, 0) as air_share, coalesce(c.levels, 0) as levels,
        coalesce(avg(coalesce(c.labels, 0))
            filter (c.labels > 0 or s.status is distinct from 'planned')
            over (partition by s.store), 0) as mean_labels,
        s.status = 'planned' and c.labels is null as unserved,
        avg(coalesce(c.air_share, 0))
            filter (c.labels > 0 or s.status is distinct from 'planned')
            over (partition by s.store) as mean_air_share
    from station_in_plan s left join counted c on c.store = s.store and c.station = s.station
)
select store, station, labels, weak_labels, silent_labels, lone_labels, levels,
    round(least(case when mean_labels = 0 then (select air_share from usual)
        when unserved then mean_air_share else air_share end, 0.95), 6) as air_share,
    -- A store without a labels export weighs its stations alike; an empty one still counts a little.
    round(case when mean_labels = 0 or unserved then 1
        else greatest(0.1, labels / mean_labels) end, 6) as weight
from stations
order by store, station;

-- name: portfolio_fit
-- What was fitted over the portfolio last.
select fit from portfolio_fit;
