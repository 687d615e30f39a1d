-- Clear air of each region at the end of each quarter audited, as the runs up to then found it.
create table if not exists audit_air (
    quarter   varchar not null,
    region    varchar not null,
    stations  bigint not null,
    labels    bigint not null,
    clear_air double not null    -- mean over stations, weighted by the labels they serve
);
