-- name: figures
-- What the run comes to in the stores asked for; findings of no one store (*) belong to all of them.
-- Clear air is averaged over the stations where it is known, now and as planned, weighted by the
-- labels they serve.
with chosen as (select unnest($stores) as store), aired as (
    select p.clear_air_now, p.clear_air_planned, greatest(l.labels, 1) as labels
    from station_plan p join station_load l using (store, station)
    where p.store in (from chosen) and p.clear_air_now is not null and p.clear_air_planned is not null
)
select run, as_of,
    (select count(*) from store_now where store in (from chosen)) as stores,
    (select count(*) from station_now where store in (from chosen)) as stations,
    (select count(*) from station_planned where store in (from chosen)) as to_install,
    (select count(*) from finding f where f.run = this_run.run and excepted is not null
        and (f.store in (from chosen) or $whole)) as excepted,
    (select count(*) from move where store in (from chosen)) as moves,
    (select count(distinct store) from move where store in (from chosen)) as stores_with_moves,
    (select fsum(clear_air_now * labels) / sum(labels) from aired) as clear_air_now,
    (select fsum(clear_air_planned * labels) / sum(labels) from aired) as clear_air_planned,
    (select count(*) from station_plan where store in (from chosen)
        and (clear_air_now is null and channel_now is not null
            or clear_air_planned is null)) as unknown
from this_run;

-- name: standing_findings
-- Findings of this run by severity in the stores asked for, but for those that an approved exception
-- covers.
select severity as key, count(*) as value
from finding where run = (select run from this_run) and excepted is null
    and ($whole or list_contains($stores, store))
group by severity order by severity;

-- name: left_aside
-- Columns of exports that no heading table knows, so that a lost column does not go unnoticed.
select file, regexp_extract(decisions, 'headings left aside: ([^;]*)', 1) as headings
from export_file where decisions like '%headings left aside: %' order by file;

-- name: unplanned
-- Stores without a plan, of those asked for, with the reason.
select store as key, reason as value from unplanned_store
where list_contains($stores, store) order by store;

-- name: planned_stores
-- Stores for which there is a plan.
select store from plan_proof order by store;

-- name: listed_findings
-- The standing findings of this run, store by store, gravest first; what concerns no one store
-- comes last, under the whole portfolio.
select f.severity, f.store, coalesce(s.region, 'the whole portfolio') as region, f.rule, f.subject,
    f.detail
from finding f left join store_now s using (store)
where f.run = (select run from this_run) and f.excepted is null
order by s.store is null, f.store, list_position(['stop', 'fix', 'watch', 'note'], f.severity),
    f.rule, f.subject, f.detail;

-- name: listed_moves
-- The moves of the plan in the order to make them.
select m.store, s.region, m.position, m.station, m.from_channel, m.to_channel,
    if(m.parking, 'parking', '') as parking, m.clear_air_before, m.clear_air_after, m.reason
from move m join store_now s using (store)
order by m.store, m.position;

-- name: listed_schedule
-- The schedule, night by night.
select region, night, store, starts_local, ends_local, team, wave,
    case when undecided = moves then 'provisional: not approved'
        when provisional then 'provisional: waits for the wave before'
        when undecided > 0 then format('firm; {} of {} not approved', undecided, moves)
        else 'firm' end as firmness, moves
from change_schedule order by night, region, starts_at, store;

-- name: unscheduled
-- Stores with moves but without a night, and what stops them.
from unscheduled_store order by store;

-- name: schedule_proof
-- How good the schedule of each region of the stores asked for is proven to be; regions tied to one
-- another are proven together, named 'A + B'.
from schedule_proof
where list_has_any(string_split(region, ' + '),
    (select list(distinct region) from store_now where list_contains($stores, store)))
order by region;
