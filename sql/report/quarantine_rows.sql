-- Rows that stand in quarantine one by one, with how their file was read.
select q.file, q.sha256, q.line, q.problem, q.reason, q.advice, q.text, e.kind,
    case when e.kind <> 'ed_readings' then e.exported_on end as exported_on, e.decisions
from quarantined_row q join export_file e on e.file = q.file and e.sha256 = q.sha256
where q.rows = 1 and e.kind is not null
order by e.kind, q.file, q.sha256, q.line;
