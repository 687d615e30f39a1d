-- Note what has come on file or gone off it since the last run. A run that speaks of a day before
-- the last one noted knows nothing of what was on file then, and adds nothing.
insert into exception_file
with latest as (
    select rule, store, subject, reason, approved_by, until, max_by(on_file, rowid) as on_file
    from exception_file group by all
), told as (select distinct rule, store, subject, reason, approved_by, until from exception)
select t.as_of, e.rule is not null as on_file,
    not exists (from run r where r.as_of < t.as_of) as first_run,
    rule, store, subject, reason, approved_by, until
from told e
full join latest l using (rule, store, subject, reason, approved_by, until)
cross join this_run t
where (e.rule is not null) <> coalesce(l.on_file, false)
    and t.as_of >= (select coalesce(max(as_of), t.as_of) from exception_file)
order by rule, store, subject, until, reason, approved_by;
