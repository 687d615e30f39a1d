-- name: departures
-- Keep the departures, with the clear air that a channel other than the agreed one costs: by the
-- last run of the quarter or before that found the station on that very channel. And with what was
-- answered last, by the end of the quarter, to the same departure.
insert into drift by name
with last_day as (
    select quarter, (left(quarter, 4) || '-01-01')::date
        + to_months(3 * right(quarter, 1)::integer) - interval 1 day as day
    from (select distinct quarter from incoming)
), cost as (
    select i.quarter, i.store, i.subject, max_by(k.clear_air_agreed - k.clear_air, k.rowid) as lost
    from incoming i
    join last_day d using (quarter)
    join clear_air_kept k on k.store = i.store and k.station = i.subject and k.as_of <= d.day
        and k.as_of >= i.first_seen
        and k.channel = try_cast(i.found as integer)
        and k.agreed_channel = try_cast(i.agreed as integer)
    where i.field = 'channel'
    group by i.quarter, i.store, i.subject
), answered as (
    select i.quarter, i.store, i.subject, i.field, max_by(a, (a.answered_on, a.rowid)) as last
    from incoming i
    join last_day d using (quarter)
    join drift_answer a on a.store = i.store and a.subject = i.subject and a.field = i.field
        and a.agreed is not distinct from i.agreed and a.found is not distinct from i.found
        and a.answered_on between i.first_seen and d.day
    where i.cause is not null
    group by i.quarter, i.store, i.subject, i.field
)
select i.* replace (if(i.field = 'channel', round(c.lost, 6), null) as clear_air_lost,
    a.last.answer as answer, a.last.answered_by as answered_by, a.last.answered_on as answered_on)
from incoming i
left join cost c using (quarter, store, subject)
left join answered a using (quarter, store, subject, field)
order by i.quarter, i.store, i.subject, i.field;

-- name: figures_of_stores
-- The stores of each quarter: what describes them, their exports and what is agreed of them. Stations
-- still to be installed are nothing to audit, nor can they be agreed.
-- Scans timed in UTC are brought to the store's own clock before their day is counted; quarters of
-- an hour keep every zone's midnight apart.
insert into audit_store by name
with quarters as (select quarter, first, last from incoming), described as (
    select q.quarter, s.store, max_by(s, (s.seen_on, s)) as d
    from store_matched s join quarters q on s.seen_on <= q.last group by q.quarter, s.store
), listed as (
    select store, seen_on,
        count(distinct station) filter (status is null or status = 'installed') as stations
    from station_seen group by store, seen_on
), exported as (
    select q.quarter, l.store, count(*) filter (l.seen_on >= q.first) as exports,
        max(l.seen_on) as last_export,
        coalesce(max_by(l.stations, l.seen_on) filter (l.seen_on >= q.first), 0) as stations
    from listed l join quarters q on l.seen_on <= q.last group by q.quarter, l.store
), agreed as (
    select q.quarter, b.store, max_by(b.version, (b.approved_on, b.version)) as version,
        max(b.approved_on) as agreed_on
    from baseline b join quarters q on b.approved_on <= q.last
    group by q.quarter, b.store having bool_or(b.change is null and b.field = 'station')
), open as (
    select x.quarter, x.store, count(distinct l.station) as unagreed
    from exported x
    join quarters q using (quarter)
    join station_seen l on l.store = x.store and l.seen_on = x.last_export
    where x.stations > 0 and (l.status is null or l.status = 'installed') and not exists (
        from baseline b where b.store = l.store and b.approved_on <= q.last
            and (b.change is null and b.field = 'station' or b.station = l.station))
    group by x.quarter, x.store
), moments as (
    select distinct store, clock, time_bucket(interval 15 minutes, scanned_at) as at
    from reading_matched
    where scanned_at < (select max(last) from quarters) + interval 2 days
), zones as (
    select store, max_by(time_zone, seen_on) as time_zone from store_matched
    where seen_on <= (select max(last) from quarters) group by store
), scanned as (
    select distinct m.store, (case m.clock when 'utc' then
        coalesce(timezone(z.name, timezone('UTC', m.at)), m.at) else m.at end)::date as day
    from moments m left join zones s using (store)
    left join pg_timezone_names() z on z.name = s.time_zone
), surveyed as (
    select q.quarter, s.store, count(*) as scan_days
    from scanned s join quarters q on s.day between q.first and q.last group by q.quarter, s.store
), every as (
    select quarter, store from described union select quarter, store from exported
    union select quarter, store from agreed
)
select e.quarter, e.store, coalesce(s.d.name, e.store) as name,
    coalesce(s.d.region, 'no region') as region, coalesce(s.d.store_type, 'no type') as store_type,
    coalesce(x.exports, 0) as exports, x.last_export, coalesce(x.stations, 0) as stations,
    a.version, a.agreed_on, coalesce(v.scan_days, 0) as scan_days,
    coalesce(o.unagreed, 0) as unagreed
from every e
left join described s using (quarter, store)
left join exported x using (quarter, store)
left join agreed a using (quarter, store)
left join surveyed v using (quarter, store)
left join open o using (quarter, store)
order by e.quarter, e.store;

-- name: figures_of_findings
-- Findings of each quarter by rule and region, as the runs told them. Of several runs of one day the
-- last counts. What the very first run found was there before; it stands, but was not opened.
insert into audit_finding by name
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
select q.quarter, coalesce(s.region, 'the whole portfolio') as region, v.rule,
    min(v.severity) as severity, sum(v.opened) as opened, sum(v.closed) as closed,
    sum(v.standing) as standing
from events v
join quarters q on v.day between q.first and q.last
left join audit_store s on s.quarter = q.quarter and s.store = v.store
group by q.quarter, 2, v.rule
order by q.quarter, 2, v.rule;

-- name: figures_of_changes
-- How the order of every change stood at the end of each quarter, parking steps left out: closed
-- and how, refused, lapsed undecided, or what it waits for; one done differently is 'ordered anew'
-- once the station has a later order. One that lapsed because a later plan has the same order goes on
-- there.
insert into audit_change by name
with quarters as (select quarter, first, last from incoming), told as (
    select q.quarter, q.first, c.store,
        case when c.state = 'refused' or (c.state = 'lapsed' and not c.ordered) then c.state
            when c.closed = 'done differently' and c.replaced then 'ordered anew'
            else coalesce(c.closed, c.waits_for) end as state,
        coalesce(c.closed_on, c.done_on, c.decided_on, c.proposed_on) as since
    from quarters q, lateral (
        select *, coalesce(decision like 'approved%', false) as ordered
        from change_story_on(q.last)) c
    where not c.parking and not (c.state = 'lapsed' and c.ordered and c.replaced)
)
select t.quarter, coalesce(s.region, 'no region') as region, t.state,
    count(*) as changes, count(*) filter (t.since >= t.first) as entered
from told t
left join audit_store s on s.quarter = t.quarter and s.store = t.store
group by t.quarter, region, t.state
order by t.quarter, region, t.state;

-- name: figures_of_promises
-- Promised against measured, and what that is held against: the last check within each quarter of
-- each change that was measured, found as ordered and not undone.
insert into audit_promise by name
with quarters as (select quarter, first, last from incoming), judged as (
    select q.quarter, k.*
    from change_check k
    join quarters q on k.checked_on between q.first and q.last
    join lateral (select * from change_story_on(q.last)) o on o.change = k.change
    where k.measured is not null and k.channel_found = o.ordered_channel
        and coalesce(o.closed = 'as ordered', true)
    qualify row_number() over (partition by q.quarter, k.change order by k.seq desc) = 1
)
select j.quarter, coalesce(s.region, 'no region') as region, j.sureness, c.store, c.station,
    j.change, coalesce(round(j.measured - j.gained, 6), j.clear_air_before) as was, j.promised,
    j.measured, j.measured_high, j.readings, j.checked_on
from judged j
join change c using (change)
left join audit_store s on s.quarter = j.quarter and s.store = c.store
where not c.parking and was is not null and j.promised is not null
order by j.quarter, c.store, c.station, j.change;

-- name: figures_of_air
-- Clear air of each region at the end of each quarter that had a run: the figure noted last of every
-- station that the store's latest export lists.
insert into audit_air by name
with quarters as (
    select i.quarter, i.first, i.last from incoming i
    where exists (from run r where r.as_of between i.first and i.last)
), noted as (
    select q.quarter, k.store, k.station, max_by(k.clear_air, k.rowid) as clear_air,
        greatest(1, max_by(k.labels, k.rowid)) as labels
    from clear_air_kept k join quarters q on k.as_of <= q.last
    group by q.quarter, k.store, k.station
)
select n.quarter, s.region, count(*) as stations, sum(n.labels) as labels,
    round(fsum(n.clear_air * n.labels) / sum(n.labels), 6) as clear_air
from noted n
join audit_store s using (quarter, store)
where exists (
    from station_seen l
    where l.store = n.store and l.station = n.station and l.seen_on = s.last_export)
group by n.quarter, s.region
order by n.quarter, s.region;

-- name: latest_edition
-- The latest edition of a quarter's audit.
select * from audit_edition where quarter = $quarter order by edition desc limit 1;
