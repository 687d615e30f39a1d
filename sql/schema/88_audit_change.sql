-- Changes of the register in each quarter audited, by region and state at its end.
create table if not exists audit_change (
    quarter varchar not null,
    region  varchar not null,
    state   varchar not null,
    changes bigint not null,   -- in that state at the end of the quarter
    entered bigint not null    -- of these, since a day of the quarter
);
