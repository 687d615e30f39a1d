-- Promised against measured clear air of the changes judged in each quarter, the last check of each.
create table if not exists audit_promise (
    quarter    varchar not null,
    region     varchar not null,
    sureness   varchar not null,  -- of the evidence behind the promise
    store      varchar not null,
    station    varchar not null,
    change     varchar not null,
    was        double not null,   -- clear air before the change, 0..1
    promised   double not null,
    measured   double not null,
    readings   bigint not null,   -- behind the measured figure
    checked_on date not null
);
