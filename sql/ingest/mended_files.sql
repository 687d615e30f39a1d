-- How many rows that stand in quarantine one by one have come back mended, by file.
create or replace temp table settled as
select q.file, q.sha256, count(*) as rows
from quarantined_row q semi join mended_row m
    on m.file = q.file and m.sha256 = q.sha256 and m.line = q.line
where q.rows = 1 and q.problem <> 'file-refused'
group by q.file, q.sha256;
