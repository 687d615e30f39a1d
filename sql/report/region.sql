-- name: day
-- The day of the run.
select as_of from this_run;

-- name: region_stores
-- A row a store: what it is, how far its changes have come, what is wrong. The moves of a plan that
-- is not in the register count as not yet proposed.
with day as (select as_of from this_run), changed as (
    select c.store, s.state, s.due
    from change c join change_state_on((select day from register_day)) s using (change)
    where not c.parking
), states as (
    select store, count(*) filter (state = 'verified') as verified,
        count(*) filter (state = 'implemented') as implemented,
        count(*) filter (state in ('ineffective', 'backed out')) as failed,
        count(*) filter (state = 'scheduled') as scheduled,
        count(*) filter (state = 'approved') as approved,
        count(*) filter (state in ('proposed', 'deferred')) as to_decide,
        count(*) filter (state = 'scheduled' and due < (select as_of from day)) as overdue,
        min(due) filter (state = 'scheduled' and due >= (select as_of from day)) as next_work
    from changed group by store
), planned as (
    select p.store, count(*) as stations,
        count(*) filter (p.channel_now <> p.channel_planned) as moves,
        -- Means are over the stations of which both figures are known.
        sum(greatest(coalesce(l.labels, 0), 1)) filter (p.clear_air_now + p.clear_air_planned is not null) as weight,
        fsum(p.clear_air_now * greatest(coalesce(l.labels, 0), 1))
            filter (p.clear_air_planned is not null) as clear_now,
        fsum(p.clear_air_planned * greatest(coalesce(l.labels, 0), 1))
            filter (p.clear_air_now is not null) as clear_planned
    from station_plan p left join station_load l using (store, station) group by p.store
), aired as (
    select a.store, sum(greatest(coalesce(l.labels, 0), 1)) filter (a.clear_air is not null) as weight,
        fsum(a.clear_air * greatest(coalesce(l.labels, 0), 1)) as clear_now
    from clear_air_now a left join station_load l using (store, station) group by a.store
), listed as (select store, count(*) as stations from station_now group by store
), served as (select store, sum(labels) as labels from station_load group by store
), found as (
    select store, count(*) filter (severity = 'stop') as stop,
        count(*) filter (severity = 'fix') as fix
    from finding where run = (select run from this_run) and excepted is null group by store
), astray as (
    select store, count(distinct subject) as stations from unapproved
    where quarter = (select max(quarter) from drift, day
        where quarter <= format('{}-Q{}', year(as_of), quarter(as_of)))
    group by store
), unagreed as (
    select l.store, count(*) as stations from station_now l
    where not exists (from baseline b
        where b.store = l.store and b.approved_on <= (select as_of from day)
            and (b.change is null or b.station = l.station))
    group by l.store
)
select n.region, n.store, n.name, n.country, n.last_seen_on,
    coalesce(x.stations, 0) as stations, coalesce(v.labels, 0)::bigint as labels,
    coalesce(p.clear_now / p.weight, a.clear_now / a.weight) as clear_air_now,
    p.clear_planned / p.weight as clear_air_planned,
    coalesce(p.weight, a.weight, 0)::bigint as weight,
    coalesce(s.verified, 0) as verified, coalesce(s.implemented, 0) as implemented,
    coalesce(s.failed, 0) as failed, coalesce(s.scheduled, 0) as scheduled,
    coalesce(s.approved, 0) as approved, coalesce(s.to_decide, 0) as to_decide,
    if(exists (from change_plan c where c.store = n.store), 0, coalesce(p.moves, 0)) as unput,
    coalesce(s.overdue, 0) as overdue, s.next_work,
    coalesce(f.stop, 0) as stop, coalesce(f.fix, 0) as fix,
    coalesce(d.stations, 0) as astray,
    coalesce(g.stations, 0) as unagreed, u.reason as unplanned
from store_now n
left join states s using (store)
left join planned p using (store)
left join aired a using (store)
left join listed x using (store)
left join served v using (store)
left join found f using (store)
left join astray d using (store)
left join unagreed g using (store)
left join unplanned_store u using (store)
order by n.region, n.store;

-- name: region_days
-- Changes by day: those carried out that did not fail, and those scheduled from today on.
with day as (select as_of from this_run), standing as (
    select c.store, c.change, s.state, s.due
    from change c join change_state_on((select day from register_day)) s using (change)
    where not c.parking
), done as (
    select s.store, s.change, min(e.at::date) as on_day
    from standing s join change_event e using (change)
    where s.state in ('implemented', 'verified')
        and e.state in ('implemented', 'verified')
    group by s.store, s.change
), steps as (
    select store, on_day, true as done from done
    union all
    select store, greatest(due::date, (select as_of from day)), false
    from standing where state = 'scheduled'
)
select n.region, s.on_day as day, s.done, count(*) as count
from steps s join store_now n using (store)
group by n.region, s.on_day, s.done
order by n.region, s.on_day, s.done;

-- name: region_promises
-- Clear air promised and measured of every measured change, by its last check, and what it is held
-- against: that of the channel left by the same scans, else that of before.
with judged as (
    select k.* from change_check k
    where k.measured is not null and k.checked_on <= (select as_of from this_run)
    qualify row_number() over (partition by k.change order by k.seq desc) = 1
)
select n.region, c.store, c.station,
    coalesce(round(k.measured - k.gained, 6), k.clear_air_before) as was, k.promised, k.measured,
    k.gained_low, k.gained_high
from judged k
join change c using (change)
join store_now n using (store)
where not c.parking and was is not null and k.promised is not null
order by n.region, c.store, c.station, k.seq;

-- name: region_pending
-- The changes that wait for a decision, the largest gain in clear air first.
select n.region, c.store, n.name, c.station, c.from_channel, c.to_channel, c.clear_air_before,
    c.clear_air_after, c.sureness, c.proposed_on, s.state
from change c
join change_state_on((select day from register_day)) s using (change)
join store_now n using (store)
where not c.parking and s.state in ('proposed', 'deferred')
order by n.region, c.clear_air_after - c.clear_air_before desc nulls last, c.store, c.station;

-- name: region_late
-- Late changes: their night has passed, they have none, or nobody has checked them yet.
select n.region, c.store, n.name, c.station, c.from_channel, c.to_channel,
    case s.state when 'scheduled' then 'overdue' when 'approved' then 'no_night'
        else 'unchecked' end as why,
    coalesce(s.due::date, s.at::date) as since, u.reason
from change c
join change_state_on((select day from register_day)) s using (change)
join store_now n using (store)
left join unscheduled_store u using (store)
where not c.parking and (s.state in ('implemented', 'approved')
    or s.state = 'scheduled' and s.due < (select as_of from this_run))
order by n.region, why, since, c.store, c.station;

-- name: region_astray
-- Departures nobody approved, as the latest audit found them: to be approved, or to be put back.
select coalesce(n.region, 'no region') as region, d.store, coalesce(n.name, d.store) as name,
    d.subject, d.field,
    d.agreed, d.found, d.kind, d.first_seen, d.stood_days, d.clear_air_lost
from unapproved d left join store_now n using (store)
where d.quarter = (select max(quarter) from drift, this_run
    where quarter <= format('{}-Q{}', year(as_of), quarter(as_of)))
order by coalesce(n.region, 'no region'), d.clear_air_lost desc nulls last, d.stood_days desc nulls last, d.store, d.subject,
    d.field;

-- name: region_findings
-- The findings of this run to settle, gravest first: those of severity stop or fix, and all that
-- concern no one store.
select coalesce(n.region, '*') as region, f.store, coalesce(n.name, f.store) as name, f.severity,
    f.rule, f.subject, f.detail, f.facts, '' as title
from finding f left join store_now n using (store)
where f.run = (select run from this_run) and f.excepted is null
    and (f.severity in ('stop', 'fix') or n.store is null)
order by region, list_position(['stop', 'fix', 'watch', 'note'], f.severity), f.rule, f.store,
    f.subject;

-- name: region_exceptions
-- Exceptions that end within thirty days of the run, or have ended.
select coalesce(n.region, '*') as region, e.store, e.rule, e.subject, e.reason, e.approved_by,
    e.until, e.until < t.as_of as over
from exception e
cross join this_run t
left join store_now n using (store)
where e.until < t.as_of + 30
order by region, e.until, e.store, e.rule, e.subject;
