-- What the rules found in this run, gravest first; approved exceptions last.
select store, rule, severity, store as found_in, subject, detail, facts,
    excepted
from finding
where run = (select run from this_run) and store in (select store from due_store)
order by store, excepted is not null,
    list_position(['stop', 'fix', 'watch', 'note'], severity), rule, subject, detail;
