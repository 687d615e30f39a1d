-- name: rows-quarantined
-- title: Export rows in quarantine
-- title.de: Exportzeilen in Quarantäne
-- severity: fix
-- says: {rows:# row|# rows} not taken, first at line {first_line}: {faults:case null={reason}
--   {advice}|else={faults:problems}}
-- says.de: {rows:# Zeile|# Zeilen} nicht übernommen, zuerst Zeile {first_line}:
--   {faults:case null={reason} {advice}|else={faults:problems}}
-- why: Quarantined rows take no part in any figure: the station, label or reading they speak of is
--   missing from the plan, or old.
-- do: Mend the cells that are named, then export or run again; the quarantine sheet lists every
--   row.
-- source: common practice, no published source
select coalesce(q.store, '*') as store, format('{}: {}', q.file, q.problem) as subject,
    sum(q.rows)::bigint as rows, min(q.line) as first_line,
    min_by(q.reason, (q.line, q.reason)) as reason, min_by(q.advice, (q.line, q.reason)) as advice,
    min_by(q.faults, (q.line, q.reason)) as faults
from quarantined_row q
join export_now x on x.file = q.file and x.sha256 = q.sha256
where x.refused is null   -- a file that was refused is a finding of its own
group by q.store, q.file, q.problem
order by store, subject;
