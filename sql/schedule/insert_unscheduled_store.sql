-- Keep the stores without a place, and why.
insert into unscheduled_store select store, wave, reason from incoming order by store;
