-- Energy readings on the channel each station is on today, folded by level as the survey reckons with
-- them. From these a change is judged once its station has been scanned on its new channel.
create table if not exists reading_today (
    store        varchar not null,
    station      varchar not null,
    channel      integer not null,
    level_dbm    double not null,
    statistic    varchar not null,
    scan_day     date not null,
    beside_own   boolean not null,  -- taken beside our own traffic
    free_of_own  double not null,   -- share of the time our own stations leave free, 0..1
    readings     bigint not null,
    worth        double not null    -- what the readings count as, in fresh ones of trading hours
);
