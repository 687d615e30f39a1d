-- Per rule: how much it finds in this run, what is new against the day before, what is gone.
create or replace view rule_standing as
with now_found as (
    select f.rule, count(*) as findings, count(f.excepted) as excepted,
        count(distinct f.store) as stores
    from finding f join this_run using (run) group by f.rule
), kept as (
    select t.rule, min(t.first_seen) as first_seen, max(t.last_seen) as last_seen,
        count(*) filter (t.gone_since is null and t.first_seen = r.as_of) as new_findings,
        count(*) filter (t.gone_since is not null) as gone_findings,
        case when bool_and(t.gone_since is not null) then max(t.gone_since) end as gone_since
    from finding_track t, this_run r group by t.rule
)
select k.rule, coalesce(n.stores, 0) as stores, coalesce(n.findings, 0) as findings,
    coalesce(n.excepted, 0) as excepted, k.new_findings, k.gone_findings,
    k.first_seen, k.last_seen, k.gone_since
from kept k left join now_found n using (rule);
