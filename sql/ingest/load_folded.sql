-- The larger counts.
insert into ed_reading
select store, station, scanned_at, clock, channel, level_dbm, statistic, dwell_ms, own_quiet,
    readings
from folded;
