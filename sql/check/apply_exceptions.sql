-- The one place where exceptions apply: a finding that an exception of its rule names, its store
-- and subject exactly or by '*', is excepted up to and on the day agreed. Of several exceptions
-- the most exact gives the reason, then the one that holds longest.
update finding
set excepted = e.reason
from (
    select f.rule, f.store, f.subject,
        max_by(e.reason, (e.store <> '*', e.subject <> '*', e.until, e.reason)) as reason
    from (select distinct rule, store, subject from finding join this_run using (run)) f
    join exception e on e.rule = f.rule
        and e.store in ('*', f.store) and e.subject in ('*', f.subject)
    join this_run r on e.until >= r.as_of
    group by f.rule, f.store, f.subject
) e
where finding.run = (select run from this_run)
    and finding.rule = e.rule and finding.store = e.store and finding.subject = e.subject;
