-- Rules of a run that could not be used, with the place to mend.
create table if not exists rule_problem (
    run      varchar not null,
    file     varchar not null,   -- the rule's file name
    line     bigint not null,    -- 1 is the first
    sentence varchar not null
);
