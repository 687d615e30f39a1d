-- The standing findings of this run, gravest first.
select f.severity, f.store, s.region, f.rule, f.subject, f.detail
from finding f join store_now s using (store)
where f.run = (select run from this_run) and f.excepted is null
order by list_position(['stop', 'fix', 'watch', 'note'], f.severity), f.store, f.rule, f.subject,
    f.detail;
