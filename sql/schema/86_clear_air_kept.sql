-- Clear air of each station as runs found it, kept for later: a row whenever a figure changed.
create table if not exists clear_air_kept (
    as_of             date not null,     -- day of the run
    store             varchar not null,
    station           varchar not null,
    channel           integer not null,
    clear_air         double not null,   -- on that channel, 0..1
    agreed_channel    integer,           -- the baseline's, where it is another one
    clear_air_agreed  double,            -- on the agreed channel, all other stations as they are
    planned_channel   integer,
    clear_air_planned double,            -- once the whole plan is done
    labels            bigint not null    -- it serves
);
