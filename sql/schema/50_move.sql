-- The current plan's channel changes, in order. A parking step is a row of its own.
create table if not exists move (
    store            varchar not null,
    station          varchar not null,
    from_channel     integer not null,
    to_channel       integer not null,
    position         integer not null,   -- 1 is the first in the store
    parking          boolean not null,   -- a step on the way, not the final channel
    clear_air_before double not null,    -- of this station, before the whole plan, 0..1
    clear_air_after  double not null,    -- of this station, after the whole plan, 0..1
    reason           varchar not null,  -- one sentence, in English
    facts            varchar not null default ''  -- the same as JSON, to be worded in other languages
);
