-- Findings of this run by severity, those that an approved exception covers apart.
select severity, count(*) filter (excepted is null) as standing,
    count(*) filter (excepted is not null) as excepted
from finding where run = (select run from this_run)
group by severity order by severity;
