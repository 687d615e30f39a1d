-- The plan in force of every store: the last one registered.
select store, plan, fingerprint, choices, proposed_on
from change_plan
qualify row_number() over (partition by store order by number desc) = 1
order by store;
