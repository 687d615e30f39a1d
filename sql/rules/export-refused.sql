-- name: export-refused
-- title: Export could not be used
-- title.de: Export konnte nicht übernommen werden
-- severity: fix
-- says: {refused}
-- says.de: Diese Datei ist nicht übernommen; {rows_read:# Zeile fehlt|# Zeilen fehlen} dem Plan.
--   Woran es liegt und was hilft, nennt `quietaisle check`.
-- why: Nothing in this file counts: whatever it says of its stores is missing from the plan.
-- do: Mend the file as the sentence says and run again.
-- source: common practice, no published source
select '*' as store, file as subject, refused, rows_read
from export_now
where refused is not null
order by store, subject;
