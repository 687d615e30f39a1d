-- Agreed against found, by quarter: one row a station and field that differs, and how. Quarters up
-- to the last one audited are worked out again from what is dated within them.
create table if not exists drift (
    quarter        varchar not null,  -- 2026-Q3
    store          varchar not null,
    subject        varchar not null,  -- the station, by the name it goes by
    field          varchar not null,  -- as in baseline
    agreed         varchar,
    found          varchar,
    kind           varchar not null,  -- approved change, deviation, drift, replaced hardware, renamed,
                                      -- new, gone, unseen, reverted, changed and changed back
    meanwhile      varchar,           -- met within the quarter, neither agreed nor found
    first_seen     date,              -- in an export; of one unseen: the last export that lists it
    stood_days     bigint,            -- by the end of the quarter; null: it stands no more
    approved_by    varchar,           -- of what is agreed, or of the change or exception
    approved_on    date,
    change         varchar,
    exception      varchar,           -- its reason
    basis          varchar not null,  -- 'baseline'; 'earlier export': nothing was agreed
    clear_air_lost double             -- 0..1, on the channel found against the agreed one; null: not known
);
