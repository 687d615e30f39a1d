-- The good readings of the file, one a row: every scan taken apart by channel.
create or replace temp view reading as
select n, store, station, scanned_at, clock, r.channel as channel, r.level_dbm as level_dbm,
    statistic, dwell_ms, own_quiet
from (select rowid as n, *, unnest(levels) as r from cleaned where good);
