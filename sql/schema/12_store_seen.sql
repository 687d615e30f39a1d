-- What a stores export said about a store on a day. A set: no row twice.
create table if not exists store_seen (
    store      varchar not null,
    seen_on    date not null,
    name       varchar,
    region     varchar,
    country    varchar,    -- ISO 3166-1 alpha-2
    store_type varchar,
    time_zone  varchar,    -- tz database
    opens      time,       -- trading hours, on the store's own clock
    closes     time
);
