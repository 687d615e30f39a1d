-- How good each store's plan is proven to be.
create table if not exists plan_proof (
    store       varchar not null,
    cost        double not null,
    bound       double not null,
    optimal     boolean not null,
    cost_now    double not null,       -- of leaving every channel as it is
    solver      varchar not null,
    order_proven boolean not null,     -- the order of moves is proven best
    worst_step  double not null        -- cost of the worst state on the way
);
