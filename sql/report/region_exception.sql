-- Exceptions that run out within thirty days of the run, or have: renew them, or put matters right.
select coalesce(n.region, '*') as region, e.store, e.rule, e.subject, e.reason, e.approved_by,
    e.until, e.until < t.as_of as over
from exception e
cross join this_run t
left join store_now n using (store)
where e.until < t.as_of + 30
order by region, e.until, e.store, e.rule, e.subject;
