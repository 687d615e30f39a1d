-- Readings beside how often equal ones are held: the k-th of equal readings is new where the
-- database holds fewer than k of them.
create or replace temp table numbered as
with held as (
    select e.* from ed_reading e semi join scan s
    on e.store = s.store and e.station = s.station and e.scanned_at = s.scanned_at
        and e.clock = s.clock
)
select r.*, coalesce(h.readings, 0) as held,
    row_number() over (partition by r.store, r.station, r.scanned_at, r.clock, r.channel,
        r.level_dbm, r.statistic, r.dwell_ms, r.own_quiet order by r.n) as k
from reading r left join held h
    on h.store = r.store and h.station = r.station and h.scanned_at = r.scanned_at
    and h.clock = r.clock and h.channel = r.channel and h.level_dbm = r.level_dbm
    and h.statistic = r.statistic and h.dwell_ms is not distinct from r.dwell_ms
    and h.own_quiet is not distinct from r.own_quiet;
