-- Measured station-to-station levels. A set: no row twice.
create table if not exists heard_seen (
    store     varchar not null,
    station   varchar not null,   -- the one that listened
    neighbour varchar not null,   -- the one it heard
    seen_on   date not null,
    level_dbm double not null
);
