-- What the plan says of every station, moved or left alone.
create table if not exists station_plan (
    store             varchar not null,
    station           varchar not null,
    channel_now       integer not null,
    channel_planned   integer not null,
    clear_air_now     double not null,   -- 0..1
    clear_air_planned double not null,
    busy_now          double not null,   -- outside noise on today's channel, upper bound, 0..1
    busy_planned      double not null,
    source_planned    varchar not null,  -- of the evidence on the planned channel
    next_best_channel integer,           -- the best other choice, the rest of the plan kept
    next_best_cost    double,            -- how much more it would cost, in units of the plan
    sureness          varchar not null,  -- 'high', 'fair' or 'low', from the evidence's source
    reason            varchar not null,  -- one sentence, in English
    facts             varchar not null default ''  -- the same as JSON, to be worded in other languages
);
