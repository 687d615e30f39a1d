-- How sure each store's plan is: planned again on evidence drawn anew within its doubt.
create table if not exists plan_sensitivity (
    store  varchar not null,
    draws  bigint not null,
    wins   bigint not null,    -- draws in which no other plan was better
    regret double not null,    -- how much more it cost than the draw's best, on average, in units of the plan
    ask    varchar not null    -- the measurement that would settle most; empty where it always won
);
