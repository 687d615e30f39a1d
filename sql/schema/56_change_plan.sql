-- The plans put forward, one row per store and plan, in the order they were registered. The last of
-- a store is the one in force; it supersedes the one before. Rows are only ever added.
create table if not exists change_plan (
    number      bigint not null,   -- 1 is the first registered
    plan        varchar not null primary key,
    store       varchar not null,
    fingerprint varchar not null,  -- of what the plan says: moves in order, permitted channels
    choices     varchar not null,  -- the channels the rules permitted, '11 15 20'
    moves       bigint not null,   -- 0: every channel is to stay as it is
    proposed_on date not null,     -- the day of the run that computed it
    run         varchar not null,
    supersedes  varchar            -- the store's plan before; null: its first
);
