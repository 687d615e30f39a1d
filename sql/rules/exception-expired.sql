-- name: exception-expired
-- title: Exception expired
-- title.de: Ausnahme abgelaufen
-- severity: watch
-- says: Ran out on {until:day}; approved by {approved_by}: {reason}
-- says.de: Lief am {until:day} ab; genehmigt von {approved_by}: {reason}
-- why: An exception is approved until a day. After it the rule applies again, and what was excepted
--   counts as a finding.
-- do: Put the matter right, or have the exception approved again with a new end date.
-- source: ISO 10007 (deviation permits are limited in time)
select e.store, format('{}: {}', e.rule, e.subject) as subject, max(e.until) as until,
    max_by(e.approved_by, (e.until, e.approved_by)) as approved_by,
    max_by(e.reason, (e.until, e.approved_by, e.reason)) as reason
from exception e, this_run r
group by e.store, e.rule, e.subject, r.as_of
having max(e.until) < r.as_of
order by e.store, subject;
