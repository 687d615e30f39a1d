-- Each quarter up to $quarter in figures: the whole portfolio (no region), then region by region.
-- A station that has gone counts as audited, though no export lists it any more.
with store as (
    select * from audit_store where quarter <= $quarter
), stores as (
    select quarter, if(grouping(region) = 1, null, region) as region, count(*) as stores,
        count(*) filter (exports > 0) as covered, sum(stations) as stations
    from store group by grouping sets ((quarter), (quarter, region))
), departed as (
    select d.*, s.region as store_region,
        u.quarter is not null as open,
        coalesce(u.begun, false) as begun
    from drift d
    join store s using (quarter, store)
    left join unapproved u using (quarter, store, subject, field)
), departures as (
    select quarter, if(grouping(store_region) = 1, null, store_region) as region,
        count(distinct (store, subject)) filter (open) as astray,
        count(distinct (store, subject)) filter (begun) as begun,
        count(distinct (store, subject)) filter (open and kind = 'gone') as gone,
        count(*) filter (kind = 'approved change') as approved,
        count(*) filter (kind = 'deviation') as deviations,
        count(*) filter (kind = 'reverted') as reverted
    from departed group by grouping sets ((quarter), (quarter, store_region))
), air as (
    select quarter, if(grouping(region) = 1, null, region) as region,
        round(fsum(clear_air * labels) / sum(labels), 6) as clear_air
    from audit_air group by grouping sets ((quarter), (quarter, region))
), findings as (
    select quarter, if(grouping(region) = 1, null, region) as region, sum(opened) as opened,
        sum(closed) as closed, sum(standing) as standing
    from audit_finding group by grouping sets ((quarter), (quarter, region))
)
select s.quarter, s.region, s.stores, s.covered,
    (s.stations + coalesce(d.gone, 0))::bigint, coalesce(d.astray, 0),
    coalesce(d.begun, 0), coalesce(d.approved, 0), coalesce(d.deviations, 0),
    coalesce(d.reverted, 0), a.clear_air, f.opened::bigint, f.closed::bigint, f.standing::bigint
from stores s
left join departures d on d.quarter = s.quarter and d.region is not distinct from s.region
left join air a on a.quarter = s.quarter and a.region is not distinct from s.region
left join findings f on f.quarter = s.quarter and f.region is not distinct from s.region
order by s.quarter, s.region nulls first;
