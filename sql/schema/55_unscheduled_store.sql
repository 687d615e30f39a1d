-- Stores with moves that have no place in the schedule, with the constraint that stops them.
create table if not exists unscheduled_store (
    store  varchar not null,
    wave   varchar,            -- null: no night at all, whatever other stores do
    reason varchar not null
);
