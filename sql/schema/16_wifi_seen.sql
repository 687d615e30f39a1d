-- Wi-Fi networks heard in a store. A set: no row twice.
create table if not exists wifi_seen (
    store           varchar not null,
    station         varchar,            -- where it was heard; null: for the whole store
    seen_on         date not null,
    network         varchar not null,   -- name or address of the transmitter, as exported
    wifi_channel    integer not null,   -- 1..14
    width_mhz       integer not null,   -- 20, 22 or 40
    secondary       varchar,            -- 'above' or 'below' for 40 MHz
    level_dbm       double,
    utilisation_pct double              -- share of time the channel was busy, 0..100
);
