-- What each station carries, from its labels.
create table if not exists station_load (
    store         varchar not null,
    station       varchar not null,
    labels        bigint not null,
    weak_labels   bigint not null,    -- heard below the weak level
    silent_labels bigint not null,    -- not heard for longer than the limit
    lone_labels   bigint not null,    -- hear one station only
    air_share     double not null,    -- share of time the station transmits, 0..1
    weight        double not null     -- its share of the plan: labels over the store's mean
);
