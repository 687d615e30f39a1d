-- The standing findings of this run, store by store, gravest first; what concerns no one store
-- comes last, under the whole portfolio.
select f.severity, f.store, coalesce(s.region, 'the whole portfolio') as region, f.rule, f.subject,
    f.detail
from finding f left join store_now s using (store)
where f.run = (select run from this_run) and f.excepted is null
order by s.store is null, f.store, list_position(['stop', 'fix', 'watch', 'note'], f.severity),
    f.rule, f.subject, f.detail;
