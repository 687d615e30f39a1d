-- Energy readings. A multiset: `readings` counts equal readings of one scan,
-- so a file that comes twice adds nothing (the larger count of the two stands).
create table if not exists ed_reading (
    store      varchar not null,
    station    varchar not null,
    scanned_at timestamp not null,
    clock      varchar not null,  -- 'store': the store's own wall clock; 'utc'
    channel    integer not null,
    level_dbm  double not null,
    statistic  varchar not null,  -- 'single' 128 us average, 'max' or 'mean' over the dwell
    dwell_ms   double,            -- time one reading stands for; null: not stated
    own_quiet  boolean,           -- own stations kept quiet during the scan; null: not stated
    readings   bigint not null
);
