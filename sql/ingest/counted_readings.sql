-- Equal readings of the file counted, where that is more than the database holds.
create or replace temp table folded as
with held as (
    select e.* from ed_reading e semi join scan s
    on e.store = s.store and e.station = s.station and e.scanned_at = s.scanned_at
        and e.clock = s.clock
), counted as (
    select store, station, scanned_at, clock, channel, level_dbm, statistic, dwell_ms, own_quiet,
        count(*) as readings
    from reading group by all
)
select r.* exclude (readings), coalesce(h.readings, 0) as held, r.readings
from counted r left join held h
    on h.store = r.store and h.station = r.station and h.scanned_at = r.scanned_at
    and h.clock = r.clock and h.channel = r.channel and h.level_dbm = r.level_dbm
    and h.statistic = r.statistic and h.dwell_ms is not distinct from r.dwell_ms
    and h.own_quiet is not distinct from r.own_quiet
where r.readings > coalesce(h.readings, 0);
