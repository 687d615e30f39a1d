-- What became of every change, for ever: rows are only added. Within a change `at` never goes back,
-- so the state on a past day is that of its last event up to that day.
create table if not exists change_event (
    seq    bigint not null primary key,  -- 1 is the first; grows by one
    change varchar not null,
    state  varchar not null,  -- proposed, approved, refused, deferred, scheduled, implemented,
                              -- verified, ineffective, backed out, lapsed
    "at"   timestamp not null,
    "by"   varchar not null,
    note   varchar not null,  -- empty: none
    result varchar,           -- done, done differently, not done, backed out; null: not about the work
    due    timestamp          -- of a scheduled change: when work starts, on the store's own clock
);
