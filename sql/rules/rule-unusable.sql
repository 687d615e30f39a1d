-- name: rule-unusable
-- title: A rule could not be used
-- severity: fix
-- why: What this rule looks for was not looked for in this run; all other rules did run.
-- do: Mend the file at the line named and run again.
-- source: common practice, no published source
-- runs: last
select '*' as store, format('{}:{}', p.file, p.line) as subject,
    string_agg(p.sentence, ' ' order by p.sentence) as detail
from rule_problem p
join this_run r on r.run = p.run
group by p.file, p.line
order by store, subject;
