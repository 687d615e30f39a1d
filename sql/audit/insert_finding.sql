-- Findings of each quarter by rule and region, as the runs told them. Of several runs of one day the
-- last counts. What the very first run found was there before; it stands, but was not opened.
insert into audit_finding
with quarters as (select quarter, first, last from incoming), days as (
    select as_of, max_by(run, rowid) as run, row_number() over (order by as_of) as nth
    from run where as_of <= (select max(last) from quarters) group by as_of
), seen as (
    select f.rule, f.store, f.subject, min(f.severity) as severity, d.nth, d.as_of
    from finding f join days d using (run)
    where f.excepted is null
    group by f.rule, f.store, f.subject, d.nth, d.as_of
), ends as (
    select *, nth > 1 and lag(nth) over stretch is distinct from nth - 1 as opens,
        lead(nth) over stretch is distinct from nth + 1 as closes
    from seen window stretch as (partition by rule, store, subject order by nth)
), events as (
    select rule, store, severity, as_of as day, 1 as opened, 0 as closed, 0 as standing
    from ends where opens
    union all
    select e.rule, e.store, e.severity, d.as_of, 0, 1, 0
    from ends e join days d on d.nth = e.nth + 1 where e.closes
    union all
    select s.rule, s.store, s.severity, s.as_of, 0, 0, 1
    from seen s where s.as_of in (
        select max(d.as_of) from days d join quarters q on d.as_of between q.first and q.last
        group by q.quarter)
)
select q.quarter, coalesce(s.region, 'the whole portfolio'), v.rule, min(v.severity),
    sum(v.opened), sum(v.closed), sum(v.standing)
from events v
join quarters q on v.day between q.first and q.last
left join audit_store s on s.quarter = q.quarter and s.store = v.store
group by q.quarter, 2, v.rule
order by q.quarter, 2, v.rule;
