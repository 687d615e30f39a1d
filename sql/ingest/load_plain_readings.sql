-- Readings that are all different from one another and from all in the database.
insert into ed_reading
select store, station, scanned_at, clock, channel, level_dbm, statistic, dwell_ms, own_quiet, 1
from reading;
