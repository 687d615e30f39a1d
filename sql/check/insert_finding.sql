-- Keep what the rules found, under the run's name.
insert into finding
select r.run, i.rule, i.severity, i.store, i.subject, i.detail, null
from incoming i, this_run r
order by i.rule, i.store, i.subject, i.detail;
