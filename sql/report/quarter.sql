-- name: quarters
-- The quarters audited, in order.
select distinct quarter from audit_store order by quarter;

-- name: quarter_edition
-- The audit's edition in force and the day of the run that made it; none if this run's day is before
-- the quarter's end.
select edition, e.as_of as made_on
from audit_edition e, this_run t
where quarter = $quarter and t.as_of + 1 >= (left(quarter, 4) || '-01-01')::date
    + to_months(3 * right(quarter, 1)::integer)
order by edition desc limit 1;

-- name: quarter_figures
-- Each quarter up to $quarter in figures: the whole portfolio (region is null), then each region.
-- A station that has gone counts as audited, though no export lists it any more.
with store as (
    select * from audit_store where quarter <= $quarter
), stores as (
    select quarter, if(grouping(region) = 1, null, region) as region, count(*) as stores,
        count(*) filter (exports > 0) as covered, sum(stations) as stations,
        sum(unagreed) as unagreed
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
    (s.stations + coalesce(d.gone, 0))::bigint as stations, coalesce(d.astray, 0) as astray,
    coalesce(d.begun, 0) as begun, coalesce(d.approved, 0) as approved,
    coalesce(d.deviations, 0) as deviations, coalesce(d.reverted, 0) as reverted,
    s.unagreed::bigint as unagreed, a.clear_air,
    f.opened::bigint as opened, f.closed::bigint as closed, f.standing::bigint as findings
from stores s
left join departures d on d.quarter = s.quarter and d.region is not distinct from s.region
left join air a on a.quarter = s.quarter and a.region is not distinct from s.region
left join findings f on f.quarter = s.quarter and f.region is not distinct from s.region
order by s.quarter, s.region nulls first;

-- name: quarter_kinds
-- Departures by kind, and those new in the quarter. What is unseen was listed before; it is new if it
-- was last listed in the quarter before.
with told as (
    select kind, first_seen, (left(quarter, 4) || '-01-01')::date
        + to_months(3 * (right(quarter, 1)::integer - 1)) as begins
    from drift where quarter = $quarter
)
select kind, count(*) as departures, count(*) filter (coalesce(first_seen
    >= if(kind = 'unseen', begins - interval 3 months, begins), true)) as begun
from told
group by kind
order by list_position(['drift', 'replaced hardware', 'renamed', 'new', 'gone', 'deviation',
    'approved change', 'reverted', 'changed and changed back', 'unseen'], kind);

-- name: quarter_types
-- Stations audited and stations astray by store type, the worst rate first. A station that has gone
-- is among both, though no export lists it any more.
with astray as (
    select store, count(distinct subject) as astray,
        count(distinct subject) filter (kind = 'gone') as gone
    from unapproved
    where quarter = $quarter group by store
), types as (
    select s.store_type, sum(s.stations + coalesce(a.gone, 0))::bigint as stations,
        coalesce(sum(a.astray), 0)::bigint as astray
    from audit_store s left join astray a using (store)
    where s.quarter = $quarter and s.exports > 0
    group by s.store_type
)
select store_type, stations, astray from types
order by astray / greatest(1, stations) desc, store_type;

-- name: quarter_fields
-- Departures nobody approved, by field, the most first.
select field, count(*) as departures, count(*) filter (begun) as begun
from unapproved where quarter = $quarter
group by field order by departures desc, field;

-- name: quarter_repeated
-- Stores in which something went astray in two or more of the last four quarters.
with recent as (
    select distinct quarter from audit_store where quarter <= $quarter
    order by quarter desc limit 4
)
select u.store, s.name, s.region, count(distinct u.quarter) as quarters, count(*) as departures
from unapproved u
join recent r using (quarter)
join audit_store s on s.quarter = $quarter and s.store = u.store
where u.begun
group by u.store, s.name, s.region
having count(distinct u.quarter) > 1
order by quarters desc, departures desc, u.store;

-- name: quarter_states
-- The register at the end of the quarter: changes by state, and those that entered it within it.
select state, sum(changes)::bigint as changes, sum(entered)::bigint as entered
from audit_change where quarter = $quarter
group by state
order by list_position(['proposed', 'deferred', 'approved', 'scheduled', 'implemented', 'verified',
    'ineffective', 'backed out', 'refused', 'lapsed'], state);

-- name: quarter_promises
-- Promised and measured clear air of the changes checked in the quarter.
from audit_promise where quarter = $quarter
order by store, station, change;

-- name: quarter_rules
-- Findings of the quarter by rule, the most standing first.
select rule, '' as title, min(severity) as severity, sum(opened)::bigint as opened,
    sum(closed)::bigint as closed, sum(standing)::bigint as standing
from audit_finding where quarter = $quarter
group by rule
order by standing desc, opened desc, rule;

-- name: quarter_departures
-- Every departure of the quarter, those nobody approved first; then the most clear air lost, then the
-- longest standing.
select coalesce(s.region, 'no region') as region, d.store, coalesce(s.name, d.store) as name,
    d.subject, d.field,
    d.agreed, d.found, d.kind, d.meanwhile, d.first_seen, d.stood_days, d.approved_by,
    d.approved_on, d.change, d.exception, d.basis, d.clear_air_lost, u.quarter is not null as open
from drift d
left join audit_store s using (quarter, store)
left join unapproved u using (quarter, store, subject, field)
where d.quarter = $quarter
order by u.quarter is null, d.clear_air_lost desc nulls last, d.stood_days desc nulls last,
    d.store, d.subject, d.field;

-- name: quarter_stores
-- The stores of the quarter, with their exports and baselines; those without an export first.
from audit_store where quarter = $quarter
order by exports > 0, version is not null, region, store;
