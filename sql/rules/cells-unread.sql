-- name: cells-unread
-- title: Export cells that could not be read
-- title.de: Unlesbare Zellen in Exporten
-- severity: watch
-- says: {cells:# cell|# cells} of the column '{heading}' could not be read, first at line
--   {first_line}: {faults:problems}
-- says.de: {cells:# Zelle|# Zellen} der Spalte „{heading}“ nicht lesbar, zuerst Zeile {first_line}:
--   {faults:problems}
-- why: The row stands, and what the cell would have said is not known: a position, a power, a
--   level or a channel of a scan is missing from every figure.
-- do: Mend the cells in the system that exports, then export and run again; the quarantine
--   workbook lists every one.
-- source: common practice, no published source
select q.store, format('{}: {} in {}', q.file, q.problem, q.heading) as subject, q.heading,
    sum(q.cells)::bigint as cells, min(q.line) as first_line,
    min_by([{'problem': q.problem, 'heading': q.heading, 'cell': q.text}], (q.line, q.reason))
        as faults
from quarantined_cell q
join export_now x on x.file = q.file and x.sha256 = q.sha256
where x.refused is null
group by q.store, q.file, q.problem, q.heading
order by store, subject;
