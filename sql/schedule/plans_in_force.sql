-- The plan in force of every store that has one in the register.
select store, plan from change_plan
qualify row_number() over (partition by store order by number desc) = 1
order by store;
