-- name: rows-quarantined
-- title: Rows of an export could not be taken
-- severity: fix
-- why: Quarantined rows take no part in any figure: the station, label or reading they speak of is
--   missing or old in the plan.
-- do: Mend the cells that are named and export or run again; the quarantine sheet lists every row.
-- source: common practice, no published source
select coalesce(q.store, '*') as store, format('{}: {}', q.file, q.problem) as subject,
    format('{} not taken, first at line {}: {} {}', counted(sum(q.rows), 'row'), min(q.line),
        min_by(q.reason, (q.line, q.reason)), min_by(q.advice, (q.line, q.reason))) as detail,
    sum(q.rows) as rows, min(q.line) as first_line
from quarantined_row q
join export_now x on x.file = q.file and x.sha256 = q.sha256
where x.refused is null   -- a file that was refused is a finding of its own
group by q.store, q.file, q.problem
order by store, subject;
