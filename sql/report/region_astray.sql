-- What nobody approved, as the latest audit found it: to be approved, or to be put back.
select coalesce(n.region, 'no region'), d.store, coalesce(n.name, d.store), d.subject, d.field,
    d.agreed, d.found, d.kind, d.first_seen, d.stood_days, d.clear_air_lost
from unapproved d left join store_now n using (store)
where d.quarter = (select max(quarter) from drift, this_run
    where quarter <= format('{}-Q{}', year(as_of), quarter(as_of)))
order by 1, d.clear_air_lost desc nulls last, d.stood_days desc nulls last, d.store, d.subject,
    d.field;
