-- name: export-refused
-- title: An export could not be taken at all
-- severity: fix
-- why: Nothing of this file counts: whatever it says of its stores is missing from the plan.
-- do: Mend the file as the sentence says and run again.
-- source: common practice, no published source
select '*' as store, file as subject,
    refused as detail,
    rows_read
from export_now
where refused is not null
order by store, subject;
