-- name: exception-unused
-- title: Exception matches nothing
-- title.de: Ausnahme trifft auf nichts zu
-- severity: note
-- says: Matches no finding of this run; it holds until {until:day}.
-- says.de: Trifft auf keinen Befund dieses Laufs zu; sie gilt bis {until:day}.
-- why: It covers no finding of this run: the matter was put right, or store or subject are
--   misspelt and the exception does not do what was meant.
-- do: Remove it from the rules file, or correct the name.
-- source: common practice, no published source
-- runs: last
select e.store, format('{}: {}', e.rule, e.subject) as subject, max(e.until) as until
from exception e
join this_run r on e.until >= r.as_of
-- An exception to what was agreed, which is no rule, is for the audit to match.
where exists (from rule_text t where t.rule = e.rule) and not exists (
    from finding f
    where f.run = r.run and f.rule = e.rule
        and e.store in ('*', f.store) and e.subject in ('*', f.subject))
group by e.store, e.rule, e.subject
order by e.store, subject;
