-- name: export-refused
-- title: An export could not be taken at all
-- severity: fix
-- why: Nothing of this file counts: whatever it says of its stores is missing from the plan.
-- do: Mend the file as the sentence says and run again.
-- source: common practice, no published source
select '*' as store, file as subject,
    min(refused) as detail,
    sum(rows_quarantined) as rows
from export_file
where refused is not null
group by file
order by store, subject;
