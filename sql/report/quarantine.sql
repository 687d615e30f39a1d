-- name: quarantine_groups
-- What is in quarantine, by file and problem, the most rows first.
select file, min(line) as line, sum(rows) as rows, problem, min_by(reason, line) as reason,
    min_by(advice, line) as advice, min_by(faults, line) as faults
from quarantined_row
group by file, sha256, problem
order by rows desc, file, sha256, problem;

-- name: quarantined_rows
-- Rows in quarantine one by one, with how their file was read.
select q.file, q.sha256, q.line, q.problem, q.reason, q.advice, q.text, q.faults, e.kind,
    case when e.kind <> 'ed_readings' then e.exported_on end as exported_on, e.decisions
from quarantined_row q join export_file e on e.file = q.file and e.sha256 = q.sha256
where q.rows = 1 and e.kind is not null
order by e.kind, q.file, q.sha256, q.line;

-- name: quarantined_cells
-- Cells that could not be read, of rows that stand without them.
from quarantined_cell order by file, sha256, line, heading;

-- name: exports_seal
-- The seal that took in the last export.
with made as (select kind, row_number() over (order by rowid) as nth from register_file
), entered as (
    select seq, row_number() over (order by seq) as nth
    from register_entry where source = 'register_file'
)
select size, root, as_of from register_seal
where size >= (select max(seq) from made join entered using (nth) where kind = 'export')
order by size limit 1;
