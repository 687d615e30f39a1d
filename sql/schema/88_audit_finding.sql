-- Findings of each quarter audited, by rule and region, as the runs of the quarter told them.
create table if not exists audit_finding (
    quarter  varchar not null,
    region   varchar not null,
    rule     varchar not null,
    severity varchar not null,
    opened   bigint not null,   -- not found by the run before
    closed   bigint not null,   -- found before, no more by the last run
    standing bigint not null    -- by the last run of the quarter
);
