-- name: cover_labels
-- Of every store with labels how many hear their station weakly, and whether further places are to be
-- looked for: more than cover_share allows, or one station serves too many of them.
with limits as (
    select max(value) filter (name = 'cover_share') as share,
        max(value) filter (name = 'weak_label_share_limit') as weak_share
    from setting
)
select l.store, cast(sum(l.labels) as bigint) as labels,
    cast(coalesce(sum(l.levels), 0) as bigint) as levels,
    cast(sum(l.weak_labels) as bigint) as weak_labels,
    sum(l.weak_labels) > sum(l.levels) * (1 - any_value(s.share))
        or bool_or(l.weak_labels > l.labels * s.weak_share) as wanting
from station_load l semi join due_store using (store) cross join limits s
group by l.store having sum(l.labels) > 0
order by l.store;

-- name: cover_stations
-- Where stations hang, and mounts without one.
select n.store, n.station, coalesce(n.name, n.station) as name, coalesce(n.floor, 0) as floor,
    n.x_m, n.y_m, coalesce(n.tx_power_dbm, limit_of('default_tx_power_dbm')) as power_dbm,
    coalesce(n.status, 'installed') as status
from station_listed n semi join due_store using (store)
order by n.store, n.station;

-- name: cover_levels
-- How many labels hear each station at each level, in whole dBm, in stores with weak ones; of weak
-- ones where they hang, in whole metres, as far as the export says.
with wanting as (
    select store from station_load semi join due_store using (store)
    group by store having sum(weak_labels) > 0
), labels as (
    select store, station, round(n.level_dbm) as level_dbm, n.level_dbm < s.value as weak,
        floor, round(x_m) as x_m, round(y_m) as y_m
    from label_now n semi join wanting using (store)
    join setting s on s.name = 'weak_label_dbm'
    where n.level_dbm is not null and station is not null
)
select store, station, level_dbm, count(*) as labels, weak, if(weak, floor, null) as floor,
    if(weak, x_m, null) as x_m, if(weak, y_m, null) as y_m
from labels group by all order by all;

-- name: cover_fits
-- The path-loss model of each store that its own levels made.
from path_fit semi join due_store using (store) where used order by store;

-- name: wifi_here
-- The Wi-Fi that each station of today hears: what was heard anywhere in the store, at all of them.
select w.store, n.station, w.network, w.wifi_channel, w.width_mhz, w.secondary,
    max(w.level_dbm) as level_dbm, max(w.utilisation_pct) as utilisation_pct, bool_or(w.ours) as ours,
    false as moved
from wifi_now w semi join due_store using (store)
join station_in_plan n on n.store = w.store and (w.station is null or w.station = n.station)
group by all order by all;
