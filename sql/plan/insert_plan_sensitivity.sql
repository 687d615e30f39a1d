-- Keep how sure each plan is.
insert into plan_sensitivity
select store, draws, wins, round(regret, 6), ask from incoming order by store;
