-- Counts that the file outgrows make room for the larger ones.
delete from ed_reading using folded f
where f.held > 0 and ed_reading.store = f.store and ed_reading.station = f.station
    and ed_reading.scanned_at = f.scanned_at and ed_reading.clock = f.clock
    and ed_reading.channel = f.channel and ed_reading.level_dbm = f.level_dbm
    and ed_reading.statistic = f.statistic
    and ed_reading.dwell_ms is not distinct from f.dwell_ms
    and ed_reading.own_quiet is not distinct from f.own_quiet;
