-- Keep the stores without a plan, with the reason.
insert into unplanned_store select store, reason from incoming order by store;
