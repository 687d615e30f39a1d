-- name: place
-- The stations of today and those to be installed, each with a number, in order: names would cost
-- more where there are many readings. One to be installed that nobody scanned at is read at the nearest
-- place on its floor where somebody did, within walk_round_most_m.
create or replace temp table place as
with stores as (   -- a zone the tz database does not know is a finding, not an end of the run
    select store, time_zone
    from store_now left join pg_timezone_names() z on z.name = time_zone
    where time_zone is null or z.name is not null
), scanned as (
    select distinct store, station from reading_matched semi join station_planned using (store)
), near as (
    select p.store, p.station, arg_min(l.station,
            (pow(p.x_m - l.x_m, 2) + pow(p.y_m - l.y_m, 2), l.station)) as read_at
    from station_planned p anti join scanned using (store, station)
    join station_listed l on l.store = p.store and l.status = 'place'
        and coalesce(l.floor, 0) = coalesce(p.floor, 0)
        and pow(p.x_m - l.x_m, 2) + pow(p.y_m - l.y_m, 2)
            <= pow((select value from setting where name = 'walk_round_most_m'), 2)
    semi join scanned r on r.store = l.store and r.station = l.station
    group by p.store, p.station
)
select n.store, n.station, coalesce(r.read_at, n.station) as read_at, s.time_zone,
    cast(row_number() over (order by n.store, n.station) as integer) as place
from station_in_plan n left join stores s on s.store = n.store
left join near r on r.store = n.store and r.station = n.station;

-- name: heard_air
-- Readings up to the run's date on the store's own clock. Above 0 dBm is beyond the receiver's range:
-- loud, by how much nobody knows.
create or replace temp table heard_air as
select p.place, f.channel, least(f.level_dbm, 0) as level_dbm, f.statistic, f.dwell_ms, f.readings,
    if(f.clock = 'utc' and p.time_zone is not null,
        timezone(p.time_zone, timezone('UTC', f.scanned_at)), f.scanned_at) as store_time,
    cast(f.scanned_at as date) as scan_day, coalesce(f.own_quiet, false) as own_quiet
from reading_matched f join place p on p.store = f.store and p.read_at = f.station
where cast(f.scanned_at as date) <= (select as_of from this_run)
    and not no_measurement(f.level_dbm);

-- name: own_air
-- For every place, scan day and channel: was one of our own stations in earshot on that channel, or
-- beside it, that day, here or next door, and what share of the time would it leave free.
create or replace temp table own_air as
with days as (
    select p.store, p.station, d.*
    from (select distinct place, scan_day from heard_air) d join place p using (place)
), on_air as (
    select d.place, d.scan_day, h.channel,
        coalesce(l.air_share, 0) as air_share, e.hit_co, e.hit_adjacent, e.hit_alternate
    from days d
    join station_history h on h.store = d.store and coalesce(h.status, 'installed') = 'installed'
        and h.valid_from <= greatest(d.scan_day, (select min(f.valid_from) from station_history f
            where f.store = h.store and f.station = h.station))
        and (h.valid_to is null or h.valid_to > d.scan_day)
    join earshot e   -- a station does not hear its own sending while it scans
        on e.store = d.store and e.station = d.station and e.neighbour = h.station
    left join station_load l on l.store = h.store and l.station = h.station
    union all by name
    select d.place, d.scan_day, n.channel, n.air_share, n.hit_co, n.hit_adjacent, n.hit_alternate
    from days d join next_door n on n.store = d.store and n.station = d.station
        and coalesce(n.valid_from <= d.scan_day, true)
        and coalesce(n.valid_to > d.scan_day, true)
), spread as (
    select place, scan_day, channel, air_share, hit_co as hit from on_air
    union all by name
    select place, scan_day, channel + o.step as channel, air_share, hit_adjacent as hit
    from on_air, (values (-1), (1)) o(step)
    union all by name
    select place, scan_day, channel + o.step as channel, air_share, hit_alternate as hit
    from on_air, (values (-2), (2)) o(step)
)
select place, scan_day, channel, exp(fsum(ln(greatest(1e-9, 1 - air_share * hit)))) as free_of_own
from spread
where hit >= (select value from setting where name = 'own_traffic_probability')
group by place, scan_day, channel;

-- name: beside_own
-- The channels of each place with readings taken beside our own traffic: all of them (`alone`), or
-- some; and what our stations left free.
create or replace temp table beside_own as
select h.place, h.channel, min(o.free_of_own) as free_of_own, count(*) = any_value(a.rows) as alone
from heard_air h
join own_air o on o.place = h.place and o.scan_day = h.scan_day and o.channel = h.channel
join (select place, channel, count(*) as rows from heard_air group by place, channel) a
    on a.place = h.place and a.channel = h.channel
where not h.own_quiet
group by h.place, h.channel;

-- name: drop_beside_own
-- Clean readings count alone where a station and channel have any.
delete from heard_air h using beside_own b, own_air o
where not b.alone and not h.own_quiet and b.place = h.place and b.channel = h.channel
    and o.place = h.place and o.channel = h.channel and o.scan_day = h.scan_day;

-- name: drop_unmeasured
-- Delete the readings of a channel that all have one quiet level, twenty or more of them, while the
-- station's quiet readings vary by 2 dB or more on most of its channels: it did not measure there.
-- Delete all readings of a station that gave one quiet level on every channel it ever scanned, four
-- or more, twenty times or more: that is a radio that does not listen, unless another radio of the
-- store has this level for its floor and rises above it. Common practice, no published source.
delete from heard_air h using (
    with quiet as (
        select place, channel, min(level_dbm) as lowest_dbm, max(level_dbm) as highest_dbm,
            max(level_dbm) filter (level_dbm <= t.value) - min(level_dbm) as varies_db,
            sum(readings) as readings, any_value(t.value) as threshold_dbm
        from heard_air, setting t where t.name = 'cca_threshold_dbm'
        group by place, channel
    ), radio as (
        select p.store, q.place, count(*) as channels, sum(q.readings) as readings,
            min(q.lowest_dbm) as floor_dbm, max(q.highest_dbm) as highest_dbm,
            any_value(q.threshold_dbm) as threshold_dbm
        from quiet q join place p using (place)
        group by p.store, q.place
    )
    select place, channel from quiet
    where readings >= 20
    qualify lowest_dbm = highest_dbm and highest_dbm <= threshold_dbm
        and count(*) over (partition by place) >= 4
        and median(varies_db) over (partition by place) >= 2
    union by name
    select q.place, q.channel
    from quiet q join radio r using (place)
    where r.readings >= 20 and r.channels >= 4 and r.floor_dbm = r.highest_dbm
        and r.highest_dbm <= r.threshold_dbm
        and not exists (select 1 from radio o where o.store = r.store
            and o.floor_dbm = r.floor_dbm and o.highest_dbm > o.floor_dbm)
) u
where h.place = u.place and h.channel = u.channel;

-- name: scans
-- The readings of each hour, channel and kind of reading, counted against the threshold: from the
-- first scan to the last (`until`). The level is their power mean, in mW; the typical one and the
-- square are averaged in dB, only to tell how far levels stray. Means that stand no more than
-- 5 dB above the radio's lowest, or not above -91 dBm, are `still`: no burst of note fell into them.
-- Above -85 dBm none is: a radio of the standard hears that (IEEE 802.15.4-2006, 6.5.3.3).
with floors as (
    select place, least(-85, greatest(-91, min(level_dbm) + 5)) as still_dbm
    from heard_air where statistic = 'mean' group by place
), hours as (
    select place, channel, min(store_time) as scanned_at, max(store_time) as until,
        cast(hour(date_trunc('hour', store_time)) as integer) as hour, statistic, dwell_ms,
        cast(sum(readings) as bigint) as readings,
        cast(coalesce(sum(readings) filter (level_dbm > t.value), 0) as bigint) as busy,
        cast(0 as bigint) as censored,
        if(statistic = 'mean',
            cast(coalesce(sum(readings) filter (level_dbm <= still_dbm), 0) as bigint), null) as still,
        10 * log10(fsum(readings * pow(10, level_dbm / 10)) / sum(readings)) as level_dbm,
        fsum(readings * level_dbm) / sum(readings) as typical_dbm,
        fsum(readings * level_dbm * level_dbm) / sum(readings) as square_dbm
    from heard_air left join floors using (place), setting t where t.name = 'cca_threshold_dbm'
    group by place, channel, date_trunc('hour', store_time), statistic, dwell_ms
)
select p.store, p.station, h.* exclude (place) from hours h join place p using (place)
order by place, h.channel, h.scanned_at, h.statistic, h.dwell_ms;

-- name: free_of_own
-- What our own stations left free while they were heard: taken off where there is no clean scan.
select p.store, p.station, b.channel, b.free_of_own
from beside_own b join place p using (place) where b.alone order by all;

-- name: measured
-- The levels heard on each scanned channel. Percentiles are type 7 of Hyndman & Fan (1996),
-- interpolated in dB, from the counts per level; the mean is averaged in mW.
create or replace temp table measured as
with levels as (
    select place, channel, level_dbm, sum(readings) as n from heard_air group by all
), cumulated as (
    select *, sum(n) over (partition by place, channel order by level_dbm) as upto,
        sum(n) over (partition by place, channel) as total
    from levels
), percentiles as (
    select place, channel, p.share,
        min(level_dbm) filter (upto > floor((total - 1) * p.share)) as low,
        min(level_dbm) filter (upto > ceil((total - 1) * p.share)) as high,
        any_value((total - 1) * p.share - floor((total - 1) * p.share)) as part
    from cumulated, (values (0.5::double), (0.9), (0.99)) p(share)
    group by all
), heard as (
    select place, channel, max(store_time) as newest_at, min(statistic) as statistic,
        10 * log10(fsum(readings * pow(10, level_dbm / 10)) / sum(readings)) as mean_dbm
    from heard_air
    group by place, channel
)
select a.store, a.station, h.* exclude (place),
    exists (from beside_own b where b.place = h.place and b.channel = h.channel and b.alone)
        as own_traffic,
    max(p.low + p.part * (p.high - p.low)) filter (p.share = 0.5) as p50_dbm,
    max(p.low + p.part * (p.high - p.low)) filter (p.share = 0.9) as p90_dbm,
    max(p.low + p.part * (p.high - p.low)) filter (p.share = 0.99) as p99_dbm
from heard h join percentiles p using (place, channel) join place a using (place)
group by all;

-- name: frames_lost
-- What interference up to the threshold, which lets a station send, spoils at the labels: the share of
-- frames lost, by the levels at which the store's labels are heard. `incoming` gives it for each level
-- of both, and of labels without one. A maximum is not there for a whole frame, so it does not count.
create or replace temp table frames_lost as
with labels as (
    select store, cast(round(greatest(-100, least(-20, level_dbm))) as bigint) as label_dbm,
        count(*) as labels
    from label_now where level_dbm is not null group by all
), known as (
    select store, label_dbm, labels from labels
    union all by name
    select distinct p.store, cast(null as bigint) as label_dbm, 1 as labels
    from place p anti join labels using (store)
), lost as (
    select k.store, o.level_dbm, fsum(k.labels * o.lost) / sum(k.labels) as lost
    from known k join incoming o on o.label_dbm is not distinct from k.label_dbm
    group by k.store, o.level_dbm
)
select p.store, p.station, h.channel, fsum(h.readings * l.lost) / sum(h.readings) as frames_lost
from heard_air h join place p using (place)
join setting t on t.name = 'cca_threshold_dbm' and h.level_dbm <= t.value
join lost l on l.store = p.store
    and l.level_dbm = cast(round(greatest(-110, least(-40, h.level_dbm))) as bigint)
where h.statistic <> 'max'
group by p.store, p.station, h.channel;

-- name: inferred
-- How busy each channel is by the Wi-Fi survey. `incoming` gives how much of a Wi-Fi signal falls
-- into an IEEE 802.15.4 channel. Networks on one Wi-Fi channel share its air, so the busiest of
-- them counts; different Wi-Fi channels add up as independent.
create or replace temp table inferred as
with heard as (
    select n.store, n.station, o.channel, w.wifi_channel,
        max(coalesce(w.utilisation_pct, u.value)) / 100 as utilisation,
        max(w.seen_on) as seen_on, max(w.level_dbm + o.share_db) as burst_dbm
    from wifi_now w
    join station_in_plan n
        on n.store = w.store and (w.station is null or w.station = n.station)
    join incoming o on o.wifi_channel = w.wifi_channel and o.width_mhz = w.width_mhz
        -- A 40 MHz network whose second channel is not told may lie on either side.
        and (o.secondary = '' or o.secondary = coalesce(w.secondary, o.secondary))
    cross join setting u cross join setting c
    where u.name = 'utilisation_default_pct' and c.name = 'cca_threshold_dbm'
        and coalesce(w.level_dbm + o.share_db, 0) > c.value
    group by n.store, n.station, o.channel, w.wifi_channel
), surveyed as (
    select distinct n.store, n.station, w.seen_on
    from wifi_now w join station_in_plan n
        on n.store = w.store and (w.station is null or w.station = n.station)
)
select s.store, s.station, c.channel, max(s.seen_on) as seen_on,
    string_agg(distinct cast(h.wifi_channel as varchar), ', '
        order by cast(h.wifi_channel as varchar)) as wifi_channels,
    1 - exp(fsum(ln(greatest(1e-9, 1 - coalesce(h.utilisation, 0))))) as busy_share,
    max(h.burst_dbm) as burst_dbm
from surveyed s cross join (select unnest(range(11, 27)) as channel) c
left join heard h on h.store = s.store and h.station = s.station and h.channel = c.channel
group by s.store, s.station, c.channel;

-- name: known
-- What is known of each station of today and channel beside its readings: what a Wi-Fi survey
-- infers, if there is one.
select n.store, n.station, cast(c.channel as integer) as channel,
    round(i.busy_share, 6) as wifi_share, i.burst_dbm, i.seen_on as wifi_seen_at
from station_in_plan n cross join (select unnest(range(11, 27)) as channel) c
left join inferred i on i.store = n.store and i.station = n.station and i.channel = c.channel
order by n.store, n.station, c.channel;

-- name: ed_evidence
-- One row per station of today and channel: the estimate, which `incoming` gives, beside the levels
-- heard and the Wi-Fi seen.
insert into ed_evidence by name
select e.store, e.station, e.channel, e.readings, e.visits, e.worth, e.busy_estimate, e.busy_low,
    e.busy_high, e.expected_cost, e.a, e.b, round(m.mean_dbm, 3) as mean_dbm,
    round(m.p50_dbm, 3) as p50_dbm, round(m.p90_dbm, 3) as p90_dbm, round(m.p99_dbm, 3) as p99_dbm,
    coalesce(m.own_traffic, false) as own_traffic, e.source, i.wifi_channels as wifi, m.newest_at,
    coalesce(e.moment, false) as one_moment,
    case e.source
        when 'measured' then format('{} {} in {} {}, newest {}, worth {:.0f}{}{}{}',
            e.readings, if(e.readings = 1, 'reading', 'readings'),
            e.visits, if(e.visits = 1, 'visit', 'visits'), strftime(m.newest_at, '%Y-%m-%d'),
            e.worth, if(m.statistic = 'single', '', '; each the ' || m.statistic || ' of its dwell'),
            if(m.own_traffic, '; beside our own traffic, whose share is taken off', ''),
            if(coalesce(e.moment, false), '; all of one moment', ''))
        when 'inferred' then format('no scan; Wi-Fi survey of {}: {}', i.seen_on,
            coalesce('Wi-Fi channel ' || i.wifi_channels, 'no Wi-Fi on this channel'))
        else 'neither scanned nor covered by a Wi-Fi survey' end as basis,
    round(f.frames_lost, 6) as frames_lost
from incoming e
left join measured m using (store, station, channel)
left join frames_lost f using (store, station, channel)
left join inferred i on i.store = e.store and i.station = e.station and i.channel = e.channel
order by e.store, e.station, e.channel;

-- name: block_today
-- Keep the readings on the channels each station is or was on, folded as `incoming` gives them.
insert into block_today by name
select i.* exclude (wifi_seen_at), cast(i.wifi_seen_at as date) as wifi_seen_at
from incoming i
semi join station_history n on n.store = i.store and n.station = i.station and n.channel = i.channel
order by i.store, i.station, i.visit, i.hour, i.statistic, i.dwell_ms;

-- name: fit_stores
-- The stores that the portfolio's figures are fitted to: at most $most of those with readings,
-- drawn by their names, so that another store's scans leave them alone.
select store from (
    select distinct store from reading_matched order by hash(store), store limit $most
) order by store;

-- name: traced_evidence
-- The estimate of one station on one channel.
from ed_evidence where store = $store and station = $station and channel = $channel;

-- name: traced_place
-- Whose readings stand for a station, and on which clock.
select read_at, time_zone from place where store = $store and station = $station;

-- name: traced_readings
-- The readings that count for a station on a channel, in order of time.
select h.store_time, h.level_dbm, h.statistic, h.dwell_ms, cast(h.readings as bigint) as readings,
    h.level_dbm > t.value as above
from heard_air h join place p using (place), setting t
where t.name = 'cca_threshold_dbm' and p.store = $store and p.station = $station
    and h.channel = $channel
order by all;

-- name: traced_own
-- The own stations in earshot of a station that are near enough to its channel to disturb it, today
-- or as planned: their channels, the time they send, and the chance that they disturb.
with stands as (
    select s.store, s.station,
        if($planned, coalesce(p.channel_planned, s.channel), s.channel) as channel
    from station_in_plan s left join station_plan p using (store, station)
)
select e.neighbour_store, e.neighbour, n.channel, e.heard_dbm, e.source,
    coalesce(l.air_share, 0) as air_share,
    case abs($channel - n.channel) when 0 then e.hit_co when 1 then e.hit_adjacent
        else e.hit_alternate end as hit
from earshot_all e
join stands n on n.store = e.neighbour_store and n.station = e.neighbour
left join station_load l on l.store = e.neighbour_store and l.station = e.neighbour
where e.store = $store and e.station = $station and abs($channel - n.channel) <= 2
order by e.neighbour_store <> e.store, e.neighbour_store, e.neighbour;

-- name: traced_stations
-- The stations of a store with their clear air, today and as planned, and what each weighs.
select s.store, s.station, s.status is not distinct from 'planned' as to_install, s.channel,
    coalesce(p.channel_planned, s.channel) as channel_planned,
    coalesce(p.clear_air_now, c.clear_air) as now,
    coalesce(p.clear_air_now_low, c.clear_air_low) as now_low,
    coalesce(p.clear_air_now_high, c.clear_air_high) as now_high,
    p.clear_air_planned as planned, p.clear_air_planned_low as planned_low,
    p.clear_air_planned_high as planned_high, coalesce(l.labels, 0) as labels,
    coalesce(l.weight, 1) as weight
from station_in_plan s
left join station_plan p on p.store = s.store and p.station = s.station
left join clear_air_now c on c.store = s.store and c.station = s.station
left join station_load l on l.store = s.store and l.station = s.station
where $key in (s.store, s.station)
order by s.store, s.station;
