-- name: quarters
-- The quarters audited, in order.
select distinct quarter from audit_store order by quarter;

-- name: countries
-- The country of every store; null: not known.
select distinct country from store_now order by country;

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
-- Departures are counted one field of a station each; those of a likely rollout apart. A station
-- that has gone counts as audited, though no export lists it any more.
with store as (
    select * from audit_store where quarter <= $quarter
), stores as (
    select quarter, if(grouping(region) = 1, null, region) as region, count(*) as stores,
        count(*) filter (exports > 0) as covered, sum(stations) as stations,
        sum(unagreed) as unagreed
    from store group by grouping sets ((quarter), (quarter, region))
), departed as (
    select d.*, s.region as store_region, coalesce(c.rollout, false) as rolled,
        d.cause is not null and not rolled as asks, coalesce(u.begun, false) as begun
    from drift d
    join store s using (quarter, store)
    left join departure_cause c using (quarter, cause)
    left join unapproved u using (quarter, store, subject, field)
), departures as (
    select quarter, if(grouping(store_region) = 1, null, store_region) as region,
        count(distinct (store, subject)) filter (asks) as astray,
        count(distinct (store, subject)) filter (asks and begun) as begun,
        count(*) filter (asks) as asked,
        count(*) filter (asks and field = 'channel') as channels,
        count(distinct cause) filter (rolled) as rollouts,
        count(distinct (store, subject)) filter (rolled) as rolled,
        count(distinct (store, subject)) filter (cause is not null and kind = 'gone') as gone,
        count(*) filter (by_order = 'as ordered') as ordered,
        count(*) filter (by_order = 'done differently') as differently,
        count(*) filter (by_order = 'undone') as undone,
        count(*) filter (by_order = 'not ordered' and not rolled) as nobody,
        count(*) filter (kind = 'approved afterwards') as accepted,
        count(*) filter (by_order = 'excepted') as excepted
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
    coalesce(d.begun, 0) as begun, coalesce(d.asked, 0) as asked,
    coalesce(d.channels, 0) as channels, coalesce(d.rollouts, 0) as rollouts,
    coalesce(d.rolled, 0) as rolled, coalesce(d.ordered, 0) as ordered,
    coalesce(d.differently, 0) as differently, coalesce(d.undone, 0) as undone,
    coalesce(d.nobody, 0) as nobody, coalesce(d.accepted, 0) as accepted,
    coalesce(d.excepted, 0) as excepted, s.unagreed::bigint as unagreed, a.clear_air,
    f.opened::bigint as opened, f.closed::bigint as closed, f.standing::bigint as findings
from stores s
left join departures d on d.quarter = s.quarter and d.region is not distinct from s.region
left join air a on a.quarter = s.quarter and a.region is not distinct from s.region
left join findings f on f.quarter = s.quarter and f.region is not distinct from s.region
order by s.quarter, s.region nulls first;

-- name: quarter_causes
-- What somebody must answer, one row a cause: what harms the air first, then what costs most of it,
-- concerns most stations, has stood longest.
select * exclude (quarter, region)
from asked_by_cause(false)
where quarter = $quarter
order by list_position(['channel', 'tx_power_dbm', 'pan_id', 'station', 'hardware', 'eui64',
    'firmware', 'ip_address', 'port', 'name', 'mounted', 'place'], field), rollout,
    clear_air_lost desc nulls last, stations desc, stood_days desc nulls last, store, subject, cause;

-- name: quarter_approvals
-- What the baselines approved in the quarter had departed before, one row a field, old and new value.
with alike as (
    select store, field, agreed, found, by_order, approved_by, approved_on, reason, version,
        count(*) as stations, min(first_seen) as first_seen,
        string_agg(subject, ', ' order by subject) as subjects
    from drift_approved where quarter = $quarter group by all
)
select a.*, s.name
from alike a left join audit_store s on s.quarter = $quarter and s.store = a.store
order by a.approved_on, a.store, list_position(['channel', 'tx_power_dbm', 'pan_id', 'station'],
    a.field) nulls last, a.field, a.subjects;

-- name: quarter_types
-- Stations audited and those with something to answer that is no likely rollout, by store type, the
-- worst rate first. A station that has gone is among both, though no export lists it any more.
with asked as (
    select d.store, count(distinct d.subject) filter (not c.rollout) as astray,
        count(distinct d.subject) filter (d.kind = 'gone') as gone
    from drift d join departure_cause c using (quarter, cause)
    where d.quarter = $quarter
    group by d.store
), types as (
    select s.store_type, sum(s.stations + coalesce(a.gone, 0))::bigint as stations,
        coalesce(sum(a.astray), 0)::bigint as astray
    from audit_store s left join asked a using (store)
    where s.quarter = $quarter and s.exports > 0
    group by s.store_type
)
select store_type, stations, astray from types
order by astray / greatest(1, stations) desc, store_type;

-- name: quarter_repeated
-- Stores in which something new that is no likely rollout had to be answered in two or more of the
-- last four quarters.
with recent as (
    select distinct quarter from audit_store where quarter <= $quarter
    order by quarter desc limit 4
)
select u.store, s.name, s.region, count(distinct u.quarter) as quarters, count(*) as departures
from unapproved u
join recent r using (quarter)
join audit_store s on s.quarter = $quarter and s.store = u.store
where u.begun and u.cause not in (select cause from departure_cause where rollout)
group by u.store, s.name, s.region
having count(distinct u.quarter) > 1
order by quarters desc, departures desc, u.store;

-- name: quarter_states
-- How the orders stood at the end of the quarter, and those that came to stand so within it.
select state, sum(changes)::bigint as changes, sum(entered)::bigint as entered
from audit_change where quarter = $quarter
group by state
order by list_position(['as ordered', 'done differently', 'ordered anew', 'undone', 'not done',
    'export', 'scan', 'work', 'night', 'decision', 'refused', 'lapsed'], state);

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
-- Every departure of the quarter, those somebody must answer first; then the most clear air lost,
-- then the longest standing.
select coalesce(s.region, 'no region') as region, coalesce(s.name, d.store) as name,
    d.* exclude (quarter)
from drift d left join audit_store s using (quarter, store)
where d.quarter = $quarter
order by d.cause is null, d.clear_air_lost desc nulls last, d.stood_days desc nulls last,
    d.store, d.subject, d.field;

-- name: quarter_stores
-- The stores of the quarter, with their exports and baselines; those without an export first.
from audit_store where quarter = $quarter
order by exports > 0, version is not null, region, store;

-- name: quarter_seal
-- The seal that took in an edition of a quarter's audit, whatever was registered since; of a
-- quarter not over yet, the last.
with made as (select *, row_number() over (order by rowid) as nth from audit_edition
), entered as (
    select seq, row_number() over (order by seq) as nth
    from register_entry where source = 'audit_edition'
), wanted as (
    select seq from made join entered using (nth) where quarter = $quarter and edition = $edition
)
select size, root, as_of from register_seal
where size >= coalesce((select seq from wanted), (select max(size) from register_seal))
order by size limit 1;

-- name: sample_rows
-- Every station of the samples looked at between two days, and what was said of it last by then.
with last as (
    select sample, number, max_by(as_agreed, rowid) as as_agreed
    from audit_sample_result where looked_on <= $last group by sample, number
)
select s.sample, s.drawn_on, s.seed, s.stations, d.region, d.region_stations, d.number, l.as_agreed
from audit_sample s join audit_sampled d using (sample) left join last l using (sample, number)
where s.sample in (select sample from audit_sample_result where looked_on between $first and $last)
order by s.drawn_on, s.sample, d.number;

-- name: sample_sheet
-- The stations of a sample, in the order of its rows.
select format('{}-{:02d}', d.sample, d.number) as name, s.drawn_on, d.region, d.store,
    coalesce(n.name, d.store) as store_name, d.station, d.channel, d.pan_id
from audit_sampled d join audit_sample s using (sample) left join store_now n using (store)
where d.sample = $sample order by d.number;

-- name: sample_seal
-- The seal that took in a sample.
with made as (select sample, row_number() over (order by rowid) as nth from audit_sample
), entered as (
    select seq, row_number() over (order by seq) as nth
    from register_entry where source = 'audit_sample'
)
select size, root, as_of from register_seal
where size >= (select seq from made join entered using (nth) where sample = $sample)
order by size limit 1;

-- name: quarter_restated
-- What an edition of a quarter's audit tells otherwise than the one before, and the exports of the
-- quarter or before that came between the two.
with known as (
    from audit_edition
    where quarter = $quarter and edition = $edition - 1 and departures is not null
), told as (
    select edition, store, subject, field, agreed, found, kind, by_order
    from audit_restated where quarter = $quarter and exists (from known)
), departed as (
    select 'told now' as change, * from (
        select * exclude (edition) from told where edition = $edition
        except select * exclude (edition) from told where edition = $edition - 1)
    union all
    select 'told before' as change, * from (
        select * exclude (edition) from told where edition = $edition - 1
        except select * exclude (edition) from told where edition = $edition)
), made as (select *, row_number() over (order by rowid) as nth from audit_edition
), files as (select *, row_number() over (order by rowid) as nth from register_file
), entered as (
    select seq, source, row_number() over (partition by source order by seq) as nth
    from register_entry
), ends as (
    select min(e.seq) as after, max(e.seq) as until
    from made m join entered e on e.nth = m.nth and e.source = 'audit_edition'
    where m.quarter = $quarter and m.edition in ($edition - 1, $edition)
), came as (
    select distinct x.file
    from files f
    join entered e on e.nth = f.nth and e.source = 'register_file'
    join ends on e.seq > ends.after and e.seq < ends.until
    join export_file x on x.sha256 = f.sha256 and x.kind is not null
    where f.kind = 'export' and coalesce(x.exported_on, $last) <= $last and $edition > 1
)
select * from departed
union all by name select 'export' as change, file as subject from came
order by change = 'export' desc, store, subject, field, change desc, agreed, found;

-- name: audits_kept
-- The audits of a quarter as they were first written, the first edition first.
select f.file, k.octets from register_file f join file_kept k using (sha256)
where f.kind = 'audit' and starts_with(f.file, $quarter)
order by f.rowid;

-- name: quarter_inputs
-- The files taken of exports up to the day of an audit, and the digest of their digests.
select count(*) as files, sha256(string_agg(sha256, chr(10) order by sha256)) as digest
from (select distinct sha256 from export_file
    where kind is not null and coalesce(exported_on <= $made_on, true))
having count(*) > 0;
