-- Keep how good each plan is proven to be.
insert into plan_proof
select store, cost, bound, optimal, cost_now, solver, order_proven, worst_step
from incoming order by store;
