-- What is agreed of each station, field by field; every version is kept and rows are only added.
-- What holds on a day is, for each field, the row last approved by then.
create table if not exists baseline (
    version     bigint not null,   -- of the store; 1 is the first
    store       varchar not null,
    station     varchar not null,
    field       varchar not null,  -- station, channel, pan_id, tx_power_dbm, eui64, ip_address, port,
                                   -- firmware, hardware, name, mounted, place
    value       varchar,           -- null: nothing; of the field `station`: it is not to be there
    approved_by varchar not null,
    approved_on date not null,
    reason      varchar not null,
    change      varchar            -- the verified change that moved it; null: approved as found
);
