-- Stores for which there is a plan.
select store from plan_proof order by store;
