-- The stores of each quarter audited: what speaks of them, and what is agreed.
create table if not exists audit_store (
    quarter     varchar not null,
    store       varchar not null,
    name        varchar not null,
    region      varchar not null,
    store_type  varchar not null,  -- 'no type' where no export says
    exports     bigint not null,   -- days of the quarter with a stations export
    last_export date,              -- the latest by the end of the quarter
    stations    bigint not null,   -- in the latest export of the quarter; 0: no export
    version     bigint,            -- of the baseline at the end of the quarter; null: none
    agreed_on   date,
    scan_days   bigint not null    -- days of the quarter with energy scans, on the store's own calendar
);
