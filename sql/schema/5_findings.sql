-- name: finding_track
-- Every finding over the runs up to this run's date: when first and last seen, since when it has
-- stood without a break, since when it is gone (null: it stands today).
-- Of the run's own day only this run counts; it replaces what was run before on that day.
create or replace view finding_track as
with told as (
    select r.run, r.as_of from run r, this_run t where r.as_of < t.as_of
    union select run, as_of from this_run
), days as (
    select as_of, row_number() over (order by as_of) as nth from (select distinct as_of from told)
), seen as (
    select distinct f.rule, f.store, f.subject, d.as_of, d.nth
    from finding f join told t using (run) join days d using (as_of)
), numbered as (   -- within one unbroken stretch of days the difference stays the same
    select *, nth - row_number() over (partition by rule, store, subject order by nth) as stretch
    from seen
), stretches as (
    select rule, store, subject, min(as_of) as begun, max(as_of) as ended
    from numbered group by rule, store, subject, stretch
), tracked as (
    select rule, store, subject, min(begun) as first_seen, max(begun) as standing_since,
        max(ended) as last_seen
    from stretches group by rule, store, subject
)
select k.rule, k.store, k.subject, k.first_seen, k.standing_since, k.last_seen,
    min(d.as_of) as gone_since
from tracked k left join days d on d.as_of > k.last_seen
group by all;

-- name: band_edge_country
-- What is on file about power on channel 26, 3.5 MHz below the band edge at 2483.5 MHz.
-- 'restricted': the band above the edge is protected, so channel 26 runs at reduced power
--   (US: 47 CFR 15.205 and 15.209; CA: RSS-Gen; both from memory).
-- 'even': one limit up to the edge (EN 300 328; Decision 2006/771/EC; ERC Rec 70-03 annex 3).
-- A country that is not here: nobody looked it up; its regulator knows.
create or replace view band_edge_country as
select unnest(['US', 'CA']) as country, 'restricted' as edge
union all
select unnest(['AT', 'BE', 'BG', 'CH', 'CY', 'CZ', 'DE', 'DK', 'EE', 'ES', 'FI', 'FR', 'GB', 'GR',
    'HR', 'HU', 'IE', 'IS', 'IT', 'LI', 'LT', 'LU', 'LV', 'MT', 'NL', 'NO', 'PL', 'PT', 'RO',
    'SE', 'SI', 'SK']), 'even';

-- name: departure_cause
-- Why somebody must answer departures, by quarter. `rollout`: so many changed alike in one week that
-- somebody rolled it out; what the air feels is never put down to that.
create or replace view departure_cause as
select quarter, cause,
    count(*) > 1 and field not in ('channel', 'tx_power_dbm', 'pan_id') as rollout
from drift where cause is not null group by quarter, cause, field;

-- name: latest_audited
-- The last quarter of which departures are kept, up to that of this run.
create or replace view latest_audited as
select max(quarter) as quarter from drift, this_run
where quarter <= format('{}-Q{}', year(as_of), quarter(as_of));

-- name: asked_by_cause
-- What somebody must answer, by quarter: departures of one cause in one row, or `by_region` in one
-- row for each region of today. Of several stations, store and station are the first.
create or replace macro asked_by_cause(by_region) as table
select d.quarter, if(by_region, coalesce(n.region, 'no region'), '') as region, d.cause, d.field,
    d.kind, d.by_order, d.agreed, d.found, c.rollout, count(*) as stations,
    count(distinct d.store) as stores, min(d.store) as store,
    min_by(coalesce(s.name, n.name, d.store), d.store) as name, min(d.subject) as subject,
    min(d.first_seen) as first_seen, max(d.first_seen) as last_seen,
    max(d.stood_days) as stood_days, max(d.clear_air_lost) as clear_air_lost,
    min(d.approved_by) as approved_by, max(d.approved_on) as approved_on,
    min(d.change) as change, arg_max_null(d.answer, d.answered_on) as answer,
    arg_max_null(d.answered_by, d.answered_on) as answered_by, max(d.answered_on) as answered_on
from drift d
join departure_cause c using (quarter, cause)
left join audit_store s using (quarter, store)
left join store_now n on n.store = d.store
group by d.quarter, if(by_region, coalesce(n.region, 'no region'), ''), d.cause, d.field, d.kind,
    d.by_order, d.agreed, d.found, c.rollout;

-- name: unapproved
-- What departs from the baseline with nobody's approval, by quarter; begun: first seen within it.
create or replace view unapproved as
select *, coalesce(first_seen >= (left(quarter, 4) || '-01-01')::date
    + to_months(3 * (right(quarter, 1)::integer - 1)), true) as begun
from drift
where kind in ('drift', 'replaced hardware', 'renamed', 'new', 'gone');
