-- How good the plan of each store is proven to be.
select store, cost, bound, optimal, cost_now, solver, order_proven, worst_step
from plan_proof
where store between $first and $last
order by store;
