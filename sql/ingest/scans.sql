-- The scans of the file: how many readings, which channels, lowest and highest level.
create or replace temp table scan as
select store, station, scanned_at, clock, count(*) as readings,
    bit_count(bit_or(cast(1 as integer) << (channel - 11))) as channels,
    min(level_dbm) as lowest_dbm, max(level_dbm) as highest_dbm
from reading group by all;
