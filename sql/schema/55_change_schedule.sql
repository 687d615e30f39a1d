-- When each store's moves are to be made: one row per store and night of work.
create table if not exists change_schedule (
    store          varchar not null,
    region         varchar not null,
    night          date not null,       -- its evening, on the store's own clock
    starts_at      timestamp not null,  -- UTC
    ends_at        timestamp not null,  -- UTC
    starts_local   timestamp not null,  -- the same on the store's own clock
    ends_local     timestamp not null,
    team           varchar not null,
    wave           varchar not null,
    provisional    boolean not null,    -- waits for an earlier wave to be verified
    moves          bigint not null,     -- made in this night
    first_position bigint not null,     -- of these moves in the store's order, both included
    last_position  bigint not null
);
