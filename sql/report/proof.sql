-- How good the plan of each store is proven to be, and how sure it is. What it loses on evidence
-- drawn anew is told per station.
select p.store, p.cost, p.bound, p.optimal, p.cost_now, p.solver, p.order_proven, p.worst_step,
    coalesce(s.draws, 0) as draws, coalesce(s.wins, 0) as wins,
    coalesce(s.regret / (select count(*) from station_plan t where t.store = p.store), 0) as regret,
    coalesce(s.ask, '') as ask
from plan_proof p left join plan_sensitivity s using (store)
where p.store in (select store from due_store)
order by p.store;
