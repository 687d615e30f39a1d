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
