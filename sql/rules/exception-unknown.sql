-- name: exception-unknown
-- title: Exception names no rule
-- title.de: Ausnahme nennt keine Regel
-- severity: fix
-- says: There is no rule of this name, so the exception covers nothing.
-- says.de: Eine Regel dieses Namens gibt es nicht; die Ausnahme deckt nichts.
-- why: Its rule is misspelt, or is one of your own and its folder was not named for this run. Until
--   that is put right, what was agreed counts as a finding.
-- do: Correct the name in the rules file; `quietaisle rules` lists the names.
-- source: common practice, no published source
-- runs: last
select distinct e.store, format('{}: {}', e.rule, e.subject) as subject
from exception e
-- An exception to what was agreed is for the audit to match.
where e.rule <> 'drift' and not starts_with(e.rule, 'drift-')
    and not exists (from rule_text t where t.rule = e.rule)
order by e.store, subject;
