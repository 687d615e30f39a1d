-- Findings of a quarter by rule, the most standing first.
select rule, min(severity), sum(opened)::bigint, sum(closed)::bigint, sum(standing)::bigint
from audit_finding where quarter = $quarter
group by rule
order by sum(standing) desc, sum(opened) desc, rule;
