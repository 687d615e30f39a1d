-- Stores with moves but without a night, and what stops them.
select store, reason from unscheduled_store order by store;
