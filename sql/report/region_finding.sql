-- What must be settled, gravest first: findings of grade stop and fix that stand in this run, and
-- all that concern no one store.
select coalesce(n.region, '*') as region, f.store, coalesce(n.name, f.store), f.severity, f.rule,
    f.subject, f.detail, f.facts
from finding f left join store_now n using (store)
where f.run = (select run from this_run) and f.excepted is null
    and (f.severity in ('stop', 'fix') or n.store is null)
order by region, list_position(['stop', 'fix', 'watch', 'note'], f.severity), f.rule, f.store,
    f.subject;
