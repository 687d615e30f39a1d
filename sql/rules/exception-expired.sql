-- name: exception-expired
-- title: An approved exception has run out
-- severity: watch
-- why: An exception is approved until a day. After it the rule applies again, and what was excepted
--   counts as a finding.
-- do: Put the matter right, or have the exception approved again with a new end date.
-- source: ISO 10007 (deviation permits are limited in time)
select e.store, format('{}: {}', e.rule, e.subject) as subject,
    format('Ran out on {}; approved by {}: {}', strftime(max(e.until), '%Y-%m-%d'),
        max_by(e.approved_by, (e.until, e.approved_by)),
        max_by(e.reason, (e.until, e.approved_by, e.reason))) as detail,
    max(e.until) as until
from exception e, this_run r
group by e.store, e.rule, e.subject, r.as_of
having max(e.until) < r.as_of
order by e.store, subject;
