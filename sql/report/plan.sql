-- The plan in force of each store, where the run does not look back to a day before it.
select store, plan, proposed_on,
    (select any_value(c.proposed_by) from change c where c.plan = p.plan) as proposed_by
from change_plan p
where store in (select store from due_store)
qualify row_number() over (partition by store order by number desc) = 1
    and proposed_on <= (select as_of from this_run)
order by store;
