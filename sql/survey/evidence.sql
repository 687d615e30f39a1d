-- name: own_air
-- For every station, scan day and channel: was one of our own stations in earshot on that channel,
-- or beside it, that day, and what share of the time would it leave free.
create or replace temp table own_air as
with days as (
    select distinct r.store, r.station, cast(r.scanned_at as date) as scan_day
    from ed_reading r join station_now n on n.store = r.store and n.station = r.station
), on_air as (
    select d.store, d.station, d.scan_day, h.channel,
        coalesce(l.air_share, 0) as air_share,
        -- Its own labels answer on its own channel while a station listens there.
        if(h.station = d.station, 1, e.hit_co) as hit_co,
        if(h.station = d.station, 0, e.hit_adjacent) as hit_adjacent,
        if(h.station = d.station, 0, e.hit_alternate) as hit_alternate
    from days d
    join station_history h on h.store = d.store
        and h.valid_from <= greatest(d.scan_day, (select min(f.valid_from) from station_history f
            where f.store = h.store and f.station = h.station))
        and (h.valid_to is null or h.valid_to > d.scan_day)
    left join earshot e
        on e.store = d.store and e.station = d.station and e.neighbour = h.station
    left join station_load l on l.store = h.store and l.station = h.station
    where h.station = d.station or e.hit_co is not null
), spread as (
    select store, station, scan_day, channel, air_share, hit_co as hit from on_air
    union all select store, station, scan_day, channel + o.step, air_share, hit_adjacent
    from on_air, (values (-1), (1)) o(step)
    union all select store, station, scan_day, channel + o.step, air_share, hit_alternate
    from on_air, (values (-2), (2)) o(step)
)
select store, station, scan_day, channel,
    exp(fsum(ln(greatest(1e-9, 1 - air_share * hit)))) as free_of_own
from spread
where hit >= (select value from setting where name = 'own_traffic_probability')
group by store, station, scan_day, channel;

-- name: histogram
-- Readings up to the run's date, folded by level: what each is worth, and whether it was taken
-- beside our own traffic. A night reading is worth less than one of trading hours, an old one
-- less than a fresh one; a reading is worth at most 1.
create or replace temp table histogram as
with limits as (
    select max(value) filter (name = 'evidence_half_life_days') as half_life,
        max(value) filter (name = 'trading_weight') as trading
    from setting
), stores as (   -- a zone the tz database does not know is a finding, not an end of the run
    select store, opens, closes, time_zone
    from store_now left join pg_timezone_names() z on z.name = time_zone
    where time_zone is null or z.name is not null
), timed as (
    select f.store, f.station, f.channel, f.scanned_at, f.level_dbm, f.statistic, f.readings,
        coalesce(f.own_quiet, false) as own_quiet,
        if(f.clock = 'utc' and s.time_zone is not null,
            timezone(s.time_zone, timezone('UTC', f.scanned_at)), f.scanned_at) as store_time,
        s.opens, s.closes
    from ed_reading f left join stores s on s.store = f.store
    where cast(f.scanned_at as date) <= (select as_of from this_run)
)
select t.store, t.station, t.channel, t.level_dbm, t.statistic,
    cast(t.scanned_at as date) as scan_day,
    o.channel is not null and not t.own_quiet as beside_own,
    coalesce(o.free_of_own, 1) as free_of_own,
    max(t.store_time) as newest_at, sum(t.readings) as readings,
    fsum(t.readings
        * pow(0.5, greatest(0, r.as_of - cast(t.store_time as date)) / l.half_life)
        * if(t.opens is null or t.closes is null
            or cast(t.store_time as time) between t.opens and t.closes, 1, 1 / l.trading)) as worth
from timed t
join station_now n on n.store = t.store and n.station = t.station
cross join limits l cross join this_run r
left join own_air o on o.store = t.store and o.station = t.station
    and o.scan_day = cast(t.scanned_at as date) and o.channel = t.channel
group by all;

-- name: reading_today
-- Keep the readings on each station's channel of today.
insert into reading_today by name
select h.store, h.station, h.channel, h.level_dbm, h.statistic, h.scan_day, h.beside_own,
    round(h.free_of_own, 9) as free_of_own, h.readings, round(h.worth, 9) as worth
from histogram h
join station_now n on n.store = h.store and n.station = h.station and n.channel = h.channel
order by h.store, h.station, h.level_dbm, h.statistic, h.scan_day, h.beside_own;

-- name: measured
-- How busy each scanned channel is. Clean readings count alone where there are any; else those
-- beside our own traffic, with our own share taken out. Percentiles are type 7 of Hyndman & Fan
-- (1996), interpolated in dB, from the counts per level; the mean is averaged in mW.
create or replace temp table measured as
with used as (
    select h.* from histogram h
    qualify h.beside_own = bool_and(h.beside_own) over (partition by h.store, h.station, h.channel)
), levels as (
    select store, station, channel, level_dbm, sum(readings) as n
    from used group by all
), cumulated as (
    select *, sum(n) over (partition by store, station, channel order by level_dbm) as upto,
        sum(n) over (partition by store, station, channel) as total
    from levels
), percentiles as (
    select store, station, channel, p.share,
        min(level_dbm) filter (upto > floor((total - 1) * p.share)) as low,
        min(level_dbm) filter (upto > ceil((total - 1) * p.share)) as high,
        any_value((total - 1) * p.share - floor((total - 1) * p.share)) as part
    from cumulated, (values (0.5::double), (0.9), (0.99)) p(share)
    group by all
), shares as (
    select u.store, u.station, u.channel, bool_or(u.beside_own) as own_traffic,
        sum(u.readings) as readings, fsum(u.worth) as worth, max(u.newest_at) as newest_at,
        count(distinct u.scan_day) as days, min(u.statistic) as statistic,
        fsum(u.worth) filter (u.level_dbm > c.value) as busy_worth,
        min(u.free_of_own) as free_of_own,
        10 * log10(fsum(u.readings * pow(10, u.level_dbm / 10)) / sum(u.readings)) as mean_dbm
    from used u, setting c where c.name = 'cca_threshold_dbm'
    group by u.store, u.station, u.channel
)
select s.store, s.station, s.channel, s.readings, s.worth, s.own_traffic, s.newest_at, s.days,
    s.statistic, s.mean_dbm,
    -- What our own stations are reckoned to have added comes off again.
    greatest(0, 1 - (1 - coalesce(s.busy_worth, 0) / s.worth)
        / if(s.own_traffic, s.free_of_own, 1)) as busy_share,
    max(p.low + p.part * (p.high - p.low)) filter (p.share = 0.5) as p50_dbm,
    max(p.low + p.part * (p.high - p.low)) filter (p.share = 0.9) as p90_dbm,
    max(p.low + p.part * (p.high - p.low)) filter (p.share = 0.99) as p99_dbm
from shares s join percentiles p using (store, station, channel)
group by all;

-- name: inferred
-- How busy each channel is by the Wi-Fi survey. `incoming` gives how much of a Wi-Fi signal falls
-- into an IEEE 802.15.4 channel. Networks on one Wi-Fi channel share its air, so the busiest of
-- them counts; different Wi-Fi channels add up as independent.
create or replace temp table inferred as
with heard as (
    select n.store, n.station, o.channel, w.wifi_channel,
        max(coalesce(w.utilisation_pct, u.value)) / 100 as utilisation,
        max(w.seen_on) as seen_on
    from wifi_now w
    join station_now n on n.store = w.store and (w.station is null or w.station = n.station)
    join incoming o on o.wifi_channel = w.wifi_channel and o.width_mhz = w.width_mhz
        -- A 40 MHz network whose second channel is not told may lie on either side.
        and (o.secondary = '' or o.secondary = coalesce(w.secondary, o.secondary))
    cross join setting u cross join setting c
    where u.name = 'utilisation_default_pct' and c.name = 'cca_threshold_dbm'
        and coalesce(w.level_dbm + o.share_db, 0) > c.value
    group by n.store, n.station, o.channel, w.wifi_channel
), surveyed as (
    select distinct n.store, n.station, w.seen_on
    from wifi_now w join station_now n
        on n.store = w.store and (w.station is null or w.station = n.station)
)
select s.store, s.station, c.channel, max(s.seen_on) as seen_on,
    string_agg(distinct cast(h.wifi_channel as varchar), ', '
        order by cast(h.wifi_channel as varchar)) as wifi_channels,
    1 - exp(fsum(ln(greatest(1e-9, 1 - coalesce(h.utilisation, 0))))) as busy_share
from surveyed s cross join (select unnest(range(11, 27)) as channel) c
left join heard h on h.store = s.store and h.station = s.station and h.channel = c.channel
group by s.store, s.station, c.channel;

-- name: ed_evidence
-- One row per station of today and channel: measured where there is a scan, else inferred from the
-- Wi-Fi survey, else absent. The bound is the Wilson score upper bound for the readings' worth, so
-- that few, old or night-time readings promise little.
insert into ed_evidence by name
with limits as (
    select max(value) filter (name = 'confidence_z') as z,
        max(value) filter (name = 'inferred_worth') as inferred_worth,
        max(value) filter (name = 'absent_busy_share') as absent
    from setting
), joined as (
    select n.store, n.station, c.channel, m.readings, m.mean_dbm, m.p50_dbm, m.p90_dbm, m.p99_dbm,
        coalesce(m.own_traffic, false) as own_traffic, m.newest_at, m.days, m.statistic,
        i.wifi_channels, i.seen_on,
        case when m.readings is not null then 'measured' when i.seen_on is not null then 'inferred'
            else 'absent' end as source,
        coalesce(m.busy_share, i.busy_share) as p,
        coalesce(m.worth, l.inferred_worth) as w, l.z, l.absent
    from station_now n cross join (select unnest(range(11, 27)) as channel) c cross join limits l
    left join measured m on m.store = n.store and m.station = n.station and m.channel = c.channel
    left join inferred i on i.store = n.store and i.station = n.station and i.channel = c.channel
)
select store, station, channel, coalesce(readings, 0) as readings,
    round(if(source = 'absent', 0, w), 3) as worth, round(p, 6) as busy_share,
    round(case when p is null then absent else least(1, (p + z * z / (2 * w)
        + z * sqrt(p * (1 - p) / w + z * z / (4 * w * w))) / (1 + z * z / w)) end, 6) as busy_bound,
    round(mean_dbm, 3) as mean_dbm, round(p50_dbm, 3) as p50_dbm, round(p90_dbm, 3) as p90_dbm,
    round(p99_dbm, 3) as p99_dbm, own_traffic, source, wifi_channels as wifi, newest_at,
    case source
        when 'measured' then format('{} readings on {} {}, newest {}, worth {:.0f} fresh ones{}{}',
            readings, days, if(days = 1, 'day', 'days'), strftime(newest_at, '%Y-%m-%d'), w,
            if(statistic = 'single', '', '; each the ' || statistic || ' of its dwell'),
            if(own_traffic, '; beside our own traffic, whose share is taken out', ''))
        when 'inferred' then format('no scan; Wi-Fi survey of {}: {}', seen_on,
            coalesce('Wi-Fi channel ' || wifi_channels, 'no Wi-Fi on this channel'))
        else 'neither scanned nor covered by a Wi-Fi survey' end as basis
from joined
order by store, station, channel;
