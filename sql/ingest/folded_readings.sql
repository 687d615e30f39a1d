-- Equal readings of the file counted, where that is more than the database holds.
create or replace temp table folded as
select store, station, scanned_at, clock, channel, level_dbm, statistic, dwell_ms, own_quiet,
    held, max(k) as readings
from numbered
group by all
having max(k) > held;
