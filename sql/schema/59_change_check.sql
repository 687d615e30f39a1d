-- What was found when a change was judged: the facts behind an event of change_event.
create table if not exists change_check (
    seq              bigint not null primary key,  -- of the event
    change           varchar not null,
    checked_on       date not null,     -- the day of the run
    seen_on          date not null,     -- of the stations export
    channel_found    integer,
    connected        boolean,           -- null: the export does not say
    labels_before    bigint not null,   -- served when proposed, silent ones left out
    labels_after     bigint,            -- null: no labels export since the change
    clear_air_before double not null,
    promised         double not null,   -- clear air, 0..1
    measured         double,            -- from scans since the change; null: too few readings yet
    readings         bigint not null,   -- taken since the change on the channel found
    sureness         varchar not null   -- of the promise
);
