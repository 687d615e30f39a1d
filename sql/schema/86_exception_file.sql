-- Which exceptions were on file when: a row whenever a run met one that was not, or missed one that
-- was. The exceptions of the first run count as on file from the start; nobody knows since when.
create table if not exists exception_file (
    as_of       date not null,     -- day of the run
    on_file     boolean not null,  -- false: taken off
    first_run   boolean not null,
    rule        varchar not null,
    store       varchar not null,
    subject     varchar not null,
    reason      varchar not null,
    approved_by varchar not null,
    until       date not null
);
