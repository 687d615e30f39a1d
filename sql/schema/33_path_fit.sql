-- The path-loss model of each store: its own fit where enough levels were measured, and why not.
create table if not exists path_fit (
    store          varchar not null,
    pairs          bigint not null,    -- measured levels with a known distance
    exponent       double,             -- 2 is free space
    exponent_error double,             -- standard error
    loss_at_1m_db  double,
    spread_db      double,             -- of the measurements about the fit
    used           boolean not null,
    note           varchar not null
);
