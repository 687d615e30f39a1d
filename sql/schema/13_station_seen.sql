-- What a stations export said about a base station on a day. A set: no row twice.
create table if not exists station_seen (
    store        varchar not null,
    station      varchar not null,
    seen_on      date not null,
    name         varchar,
    mounted      varchar,   -- where it hangs, in words
    floor        integer,   -- 0 is the ground floor
    x_m          double,
    y_m          double,
    channel      integer,   -- IEEE 802.15.4, 11..26 when valid
    pan_id       integer,   -- 0..65535
    tx_power_dbm double,
    eui64        varchar,   -- lower-case hex digits, most significant first: 16 of an EUI-64, 12 of an EUI-48
    ip_address   varchar,
    port         integer,
    firmware     varchar,
    hardware     varchar,
    connected    boolean
);
