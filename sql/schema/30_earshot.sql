-- Who hears whom: levels at `station` from `neighbour`, and the chance that the neighbour's
-- signal stands above the clear-channel threshold on the same, next and next-but-one channel.
create table if not exists earshot (
    store         varchar not null,
    station       varchar not null,
    neighbour     varchar not null,
    heard_dbm     double not null,
    spread_db     double not null,
    source        varchar not null,   -- 'measured' or 'modelled'
    distance_m    double,
    hit_co        double not null,    -- 0..1
    hit_adjacent  double not null,
    hit_alternate double not null
);
