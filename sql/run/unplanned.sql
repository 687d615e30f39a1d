-- Stores without a plan, with the reason.
select store, reason from unplanned_store order by store;
