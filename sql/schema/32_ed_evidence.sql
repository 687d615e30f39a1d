-- How busy the air is: one row per station of today and channel 11..26.
create table if not exists ed_evidence (
    store       varchar not null,
    station     varchar not null,
    channel     integer not null,
    readings    bigint not null,
    worth       double not null default 0, -- what the readings count as, in fresh ones of trading hours
    busy_share  double,             -- share of readings above the clear-channel threshold
    busy_bound  double not null,    -- upper bound the plan reckons with
    mean_dbm    double,             -- power mean, averaged in mW
    p50_dbm     double,
    p90_dbm     double,
    p99_dbm     double,
    own_traffic boolean not null,   -- taken beside our own traffic; no clean scan exists
    source      varchar not null,   -- 'measured', 'inferred' (Wi-Fi survey) or 'absent'
    wifi        varchar,            -- Wi-Fi channels heard above the threshold in it, '1, 6'; null: none known
    newest_at   timestamp,
    basis       varchar not null    -- one sentence: where the figure comes from
);
