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
