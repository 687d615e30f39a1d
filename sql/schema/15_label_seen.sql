-- What a labels export said about a shelf label on a day. A set: no row twice.
create table if not exists label_seen (
    store           varchar not null,
    label           varchar not null,
    seen_on         date not null,
    station         varchar,   -- the station that serves it
    level_dbm       double,    -- at which the label hears that station
    stations_heard  integer,   -- stations the label can hear, this one counted
    success_pct     double,    -- updates acknowledged, 0..100
    last_heard_on   date,
    updates_per_day double,
    payload_octets  double,    -- per update
    channels        varchar    -- channels it listens on, '11 15 20 25'; null: not stated
);
