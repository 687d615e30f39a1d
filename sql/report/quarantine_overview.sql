-- What is in quarantine, by file and problem, the most rows first.
select file, min(line) as line, sum(rows) as rows, problem, min_by(reason, line) as reason,
    min_by(advice, line) as advice
from quarantined_row
group by file, sha256, problem
order by rows desc, file, sha256, problem;
