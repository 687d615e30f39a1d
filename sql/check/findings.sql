-- name: forget_findings
-- Forget what an earlier pass of this very run found.
delete from finding where run = (select run from this_run);

-- name: forget_problems
-- Forget which rules an earlier pass of this very run could not use.
delete from rule_problem where run = (select run from this_run);

-- name: insert_findings
-- Keep what the rules found, under the run's name.
insert into finding by name
select r.run, i.rule, i.severity, i.store, i.subject, i.detail, i.facts
from incoming i, this_run r
order by i.rule, i.store, i.subject, i.detail;

-- name: insert_problems
-- Keep which rules could not be used, under the run's name.
insert into rule_problem by name
select r.run, i.file, i.line, i.sentence
from incoming i, this_run r
order by i.file, i.line, i.sentence;

-- name: insert_bound
-- Keep what binds the plan of a station: findings about stations that no exception covers.
insert into plan_bound by name
select i.store, i.subject as station, i.kind, i.rule, i.detail, i.facts
from incoming i
semi join station_now n on n.store = i.store and n.station = i.subject
anti join (select x.* from exception x join this_run r on x.until >= r.as_of) x
    on x.rule = i.rule and x.store in ('*', i.store) and x.subject in ('*', i.subject)
order by i.store, i.subject, i.kind, i.rule, i.detail;

-- name: apply_exceptions
-- The one place where exceptions apply: a finding that an exception of its rule names, its store
-- and subject exactly or by '*', is excepted up to and on the day agreed. Of several exceptions
-- the most exact gives the reason, then the one that holds longest.
update finding
set excepted = e.reason
from (
    select f.rule, f.store, f.subject,
        max_by(e.reason, (e.store <> '*', e.subject <> '*', e.until, e.reason)) as reason
    from (select distinct rule, store, subject from finding join this_run using (run)) f
    join exception e on e.rule = f.rule
        and e.store in ('*', f.store) and e.subject in ('*', f.subject)
    join this_run r on e.until >= r.as_of
    group by f.rule, f.store, f.subject
) e
where finding.run = (select run from this_run)
    and finding.rule = e.rule and finding.store = e.store and finding.subject = e.subject;

-- name: standing
-- Which rules fail, where and since when, the rule with most standing findings first: one row for
-- the whole portfolio (no region) and one for each region. New and gone are counted from $since.
with told as (
    select t.*, coalesce(s.region, 'no region') as region,
        t.gone_since is null as stands, f.excepted is not null as excepted
    from finding_track t
    left join store_now s on s.store = t.store
    left join (
        select rule, store, subject, max(excepted) as excepted
        from finding join this_run using (run) group by rule, store, subject
    ) f on f.rule = t.rule and f.store = t.store and f.subject = t.subject
), counted as (
    select rule, if(grouping(region) = 1, null, region) as region,
        count(distinct store) filter (stands) as stores,
        count(*) filter (stands) as findings,
        count(*) filter (stands and excepted) as excepted,
        count(*) filter (stands and standing_since >= $since) as new_findings,
        count(*) filter (gone_since >= $since) as gone_findings,
        min(first_seen) as first_seen, max(last_seen) as last_seen,
        case when not bool_or(stands) then max(gone_since) end as gone_since
    from told
    group by grouping sets ((rule), (rule, region))
)
select rule, region, stores, findings, excepted, new_findings, gone_findings,
    first_seen, last_seen, gone_since
from counted
order by max(findings - excepted) filter (region is null) over (partition by rule) desc, rule,
    region nulls first;

-- name: syntax
-- The parts of a select as a tree, with their places in the text; nothing is run.
select json_serialize_sql($text);
