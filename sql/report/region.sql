-- name: day
-- The day of the run.
select as_of from this_run;

-- name: region_stores
-- A row a store: what it is, how far its changes have come, what is wrong. The moves of a plan that
-- is not in the register count as not yet proposed. Work reported as done differently is no work
-- done, before an export shows it too.
with day as (select as_of from this_run), told as (
    select *, coalesce(result = 'done differently', false) as otherwise
    from change_story where not parking
), states as (
    select store, count(*) filter (state = 'verified') as verified,
        count(*) filter (waits_for in ('export', 'scan') and not otherwise) as implemented,
        count(*) filter (state = 'ineffective' and closed = 'as ordered') as failed,
        count(*) filter (closed = 'done differently'
            or (waits_for in ('export', 'scan') and otherwise)) as differently,
        count(*) filter (closed = 'undone') as undone,
        count(*) filter (closed = 'done differently' and not replaced) as to_put_right,
        count(*) filter (waits_for = 'work') as scheduled,
        count(*) filter (waits_for = 'night') as approved,
        count(*) filter (waits_for = 'decision') as to_decide,
        count(*) filter (overdue) as overdue,
        min(due) filter (waits_for = 'work' and not overdue) as next_work
    from told group by store
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
), opening as (select store, count(*) as stations from station_planned group by store
), served as (select store, sum(labels) as labels from station_load group by store
), found as (
    select store, count(*) filter (severity = 'stop') as stop,
        count(*) filter (severity = 'fix') as fix
    from finding where run = (select run from this_run) and excepted is null group by store
), astray as (
    select d.store, count(distinct d.subject) as stations,
        count(distinct d.subject) filter (d.answer is distinct from 'put back') as unanswered
    from drift d join departure_cause c using (quarter, cause)
    semi join latest_audited using (quarter)
    where not c.rollout group by d.store
), unagreed as (
    select l.store, count(*) as stations from station_now l
    where not exists (from baseline b
        where b.store = l.store and b.approved_on <= (select as_of from day)
            and (b.change is null or b.station = l.station))
    group by l.store
)
select n.region, n.store, n.name, n.country, n.last_seen_on,
    coalesce(x.stations, 0) as stations, coalesce(o.stations, 0) as to_install,
    coalesce(v.labels, 0)::bigint as labels,
    coalesce(p.clear_now / p.weight, a.clear_now / a.weight) as clear_air_now,
    p.clear_planned / p.weight as clear_air_planned,
    coalesce(p.weight, a.weight, 0)::bigint as weight,
    coalesce(s.verified, 0) as verified, coalesce(s.implemented, 0) as implemented,
    coalesce(s.failed, 0) as failed, coalesce(s.differently, 0) as differently,
    coalesce(s.undone, 0) as undone, coalesce(s.to_put_right, 0) as to_put_right, coalesce(s.scheduled, 0) as scheduled,
    coalesce(s.approved, 0) as approved, coalesce(s.to_decide, 0) as to_decide,
    if(exists (from change_plan c where c.store = n.store), 0, coalesce(p.moves, 0)) as unput,
    coalesce(s.overdue, 0) as overdue, s.next_work,
    (select min(c.night) from change_schedule c, day
        where c.store = n.store and c.night >= day.as_of) as laid_out,
    coalesce(f.stop, 0) as stop, coalesce(f.fix, 0) as fix,
    coalesce(d.stations, 0) as astray, coalesce(d.unanswered, 0) as unanswered,
    coalesce(g.stations, 0) as unagreed, coalesce(u.facts, u.reason) as unplanned,
    (select count(*) from inventory_item i where i.store = n.store and i.open) as to_answer
from store_now n
left join states s using (store)
left join planned p using (store)
left join aired a using (store)
left join listed x using (store)
left join opening o using (store)
left join served v using (store)
left join found f using (store)
left join astray d using (store)
left join unagreed g using (store)
left join unplanned_store u using (store)
order by n.region, n.store;

-- name: region_days
-- Changes by day: those carried out that did not fail, and those scheduled from today on.
with steps as (
    select store, coalesce(done_on, closed_on) as day, true as done
    from change_story
    where not parking and (state = 'verified' or (waits_for in ('export', 'scan')
        and result is distinct from 'done differently'))
    union all
    select store, greatest(night, (select as_of from this_run)), false
    from change_story where not parking and waits_for = 'work'
)
select n.region, s.day, s.done, count(*) as count
from steps s join store_now n using (store)
group by n.region, s.day, s.done
order by n.region, s.day, s.done;

-- name: region_promises
-- Clear air promised and measured of every change that counts, and what it is held against; no
-- promise: the channel ordered is not the one proposed, and nothing was promised of it.
select n.region, s.store, s.station, s.clear_air_before as was, s.promised, s.measured,
    s.gained_low, s.gained_high
from change_story s join store_now n using (store)
where s.counts and s.clear_air_before is not null
order by n.region, s.store, s.station, s.change;

-- name: region_pending
-- The changes that wait for a decision: what a rule puts first, then the largest gain in clear air.
select n.region, s.store, n.name, s.station, s.from_channel, s.to_channel, s.clear_air_before,
    s.promised as clear_air_after, c.sureness, s.proposed_on, s.state,
    exists (from plan_bound b
        where b.kind = 'first' and b.store = s.store and b.station = s.station) as first
from change_story s
join change c using (change)
join store_now n on n.store = s.store
where not s.parking and s.waits_for = 'decision'
order by n.region, first desc, s.promised - s.clear_air_before desc nulls last, s.store, s.station;

-- name: region_late
-- Late changes: their night has passed, they have none, labels have not come back since, or nobody has
-- checked them yet.
with behind as (
    select l.change from change_labels l join label_behind b using (change)
    group by l.change, l.labels_listed
    having l.labels_listed - count(*) < limit_of('labels_verified_share') * l.labels_listed
)
select n.region, s.store, n.name, s.station, s.from_channel, s.ordered_channel as to_channel,
    case when s.overdue then 'overdue' when s.waits_for = 'night' then 'no_night'
        when s.waits_for = 'scan' and b.change is not null then 'labels' else 'unchecked' end as why,
    s.waits_since as since, u.reason
from change_story s
join store_now n using (store)
left join unscheduled_store u using (store)
left join behind b using (change)
where not s.parking and (s.overdue or s.waits_for in ('night', 'export', 'scan')
    and s.waits_since < (select as_of from this_run))
order by n.region, why, since, s.store, s.station;

-- name: region_otherwise
-- Changes that were carried out and do not stand as ordered, but for those of stations that have a
-- later order.
select n.region, s.store, n.name, s.station, s.from_channel, s.ordered_channel, s.channel_found,
    s.closed, s.closed_on, s.decided_by, s.done_by
from change_story s join store_now n using (store)
where not s.parking and not s.replaced and s.closed in ('done differently', 'undone')
order by n.region, s.closed, s.store, s.station, s.closed_on;

-- name: region_astray
-- What somebody must answer in each region, as the latest audit found it, one row a cause: to be
-- approved, or to be put back.
select * exclude (quarter)
from asked_by_cause(true) semi join latest_audited using (quarter)
order by region, rollout, clear_air_lost desc nulls last, stations desc,
    stood_days desc nulls last, store, subject, cause;

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

-- name: region_next_door
-- Pairs of stores planned together, each once in a region, with the pairs of their stations in earshot
-- through the wall: how many, and how many of them share a channel, now and as planned. One of two
-- regions stands in both.
with near as (
    select store, station, neighbour_store as other, neighbour from earshot_next_door
    where hit_co >= (select value from setting where name = 'earshot_probability')
), pairs as (
    select store, station, other, neighbour from near where store < other
    union select other, neighbour, store, station from near where other < store
), shown as (
    select p.store, p.other, a.channel = b.channel as now,
        coalesce(q.channel_planned, a.channel) = coalesce(r.channel_planned, b.channel) as planned
    from pairs p
    join station_in_plan a on a.store = p.store and a.station = p.station
    join station_in_plan b on b.store = p.other and b.station = p.neighbour
    left join station_plan q on q.store = p.store and q.station = p.station
    left join station_plan r on r.store = p.other and r.station = p.neighbour
), counted as (
    select j.store, o.store as other, count(s.store) as pairs, count(*) filter (s.now) as shared_now,
        count(*) filter (s.planned) as shared_planned
    from store_joined j join store_joined o on o.joint = j.joint and j.store < o.store
    left join shown s on s.store = j.store and s.other = o.store
    group by j.store, o.store
)
select n.region, c.store, c.other, nullif(m.region, n.region) as other_region, c.pairs,
    c.shared_now, c.shared_planned
from counted c join store_now n using (store) join store_now m on m.store = c.other
union all by name
select m.region, c.other as store, c.store as other, n.region as other_region, c.pairs,
    c.shared_now, c.shared_planned
from counted c join store_now n using (store) join store_now m on m.store = c.other
where m.region <> n.region
order by region, store, other;

-- name: region_seals
-- The latest of the seals of each region's stores.
select region, max(size) as size, max_by(root, size) as root, max_by(as_of, size) as as_of
from store_now join store_seal using (store)
group by region order by region;

-- name: region_inputs
-- The files that told of the stores of each region, and the digest of their digests.
select region, count(*) as files, sha256(string_agg(sha256, chr(10) order by sha256)) as digest
from (select distinct n.region, f.sha256 from store_file_matched f join store_now n using (store))
group by region order by region;

-- name: chain_inputs
-- The same of all stores.
select count(*) as files, sha256(string_agg(sha256, chr(10) order by sha256)) as digest
from (select distinct f.sha256 from store_file_matched f join store_now n using (store))
having count(*) > 0;

-- name: region_scans
-- The stores whose decision is not settled: how many visits are worth most each, all stations left
-- being scanned on every one, what one is worth, and the next night there. The hours are the third
-- of those that matter in which these stations were scanned least; all, where in all alike.
with station as (
    select distinct store, station, visits, worth from scan_next
), tried as (   -- as many visits as one of its stations asks for: whole are those that ask for no more
    select t.store, t.visits, count(*) as stations,
        round(fsum(s.worth * s.visits) / t.visits, 9) as worth
    from (select distinct store, visits from station) t
    join station s on s.store = t.store and s.visits <= t.visits
    group by t.store, t.visits
), asked as (
    from tried qualify row_number() over (partition by store order by worth desc, visits) = 1
), seen as (
    select s.store, p.*, count(distinct (b.station, b.visit)) filter (b.visit is not null) as visits
    from station s cross join hour_third p
    left join block_today b on b.store = s.store and b.station = s.station
        and b.hour >= p.begins and b.hour < p.ends
    group by all
), hours as (
    select store,
        if(min(visits) = max(visits), any_value(opens), min_by(begins, [visits, k])) as hour_from,
        if(min(visits) = max(visits), any_value(shuts), min_by(ends, [visits, k])) as hour_until
    from seen group by store
), own as (
    select store, bool_or(quiet) as quiet from scan_next group by store
)
select n.region, n.store, n.name, s.unsettled, a.worth, a.visits, a.stations,
    h.hour_from, h.hour_until, o.quiet,
    (select min(c.night) from change_schedule c, this_run r
        where c.store = n.store and c.night >= r.as_of) as next_night,
    0 as so_far  -- counted once the list is in order
from asked a
join hours h using (store)
join own o using (store)
join plan_sensitivity s using (store)
join store_now n using (store)
order by n.region, a.worth desc, n.store;

-- name: region_orders
-- Where to order a station, or to measure first, the places that reach most labels first.
select n.region, n.name, c.*
from cover_place c join store_now n using (store)
where c.verdict <> 'no'
order by n.region, c.verdict desc, c.rescued desc, c.store, c.rank;

-- name: region_requests
-- What to ask of whoever runs the Wi-Fi, of each store what gives back most, the most first.
select n.region, n.name, w.*
from wifi_request w join store_now n using (store)
where w.rank = 1
order by n.region, w.plan_gives desc, w.store;
