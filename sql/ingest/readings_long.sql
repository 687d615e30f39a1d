-- The good readings of the file, one a row.
create or replace temp view reading as
select rowid as n, store, station, scanned_at, clock, channel, level_dbm, statistic, dwell_ms,
    own_quiet
from cleaned where good;
