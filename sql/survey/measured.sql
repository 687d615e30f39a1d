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
