-- What the rules found, per run; runs accumulate, so first and last seen can be told.
create table if not exists finding (
    run      varchar not null,
    rule     varchar not null,
    severity varchar not null,     -- stop, fix, watch, note
    store    varchar not null,
    subject  varchar not null,     -- station, label, channel or file the finding is about
    detail   varchar not null,
    excepted varchar               -- the approved exception's reason; null: it stands
);
