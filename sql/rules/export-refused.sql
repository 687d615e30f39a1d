-- name: export-refused
-- title: Export could not be used
-- title.de: Export konnte nicht übernommen werden
-- severity: fix
-- says: {why:problems}
-- says.de: {why:problems}
-- why: Nothing in this file counts: whatever it says of its stores is missing from the plan.
-- do: Mend the file as the sentence says and run again.
-- source: common practice, no published source
select '*' as store, e.file as subject, coalesce(q.faults, e.refused) as why
from export_now e
left join quarantined_row q
    on q.file = e.file and q.sha256 = e.sha256 and q.problem = 'file-refused'
where e.refused is not null
order by store, subject;
