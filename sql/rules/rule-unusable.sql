-- name: rule-unusable
-- title: Rule could not be used
-- title.de: Regel konnte nicht angewendet werden
-- severity: fix
-- says: {sentences}
-- says.de: Wonach diese Regel sucht, ist nicht geprüft; die Datei der Regel lässt sich so nicht
--   anwenden. Den Fehler nennt `quietaisle check`.
-- why: What this rule looks for was not looked for in this run; all other rules did run.
-- do: Mend the file at the line named and run again.
-- source: common practice, no published source
-- runs: last
select '*' as store, format('{}:{}', p.file, p.line) as subject,
    string_agg(p.sentence, ' ' order by p.sentence) as sentences
from rule_problem p
join this_run r on r.run = p.run
group by p.file, p.line
order by store, subject;
