-- The stores of each quarter: what describes them, their exports and what is agreed of them.
-- Scans timed in UTC are brought to the store's own clock before their day is counted; quarters of
-- an hour keep every zone's midnight apart.
insert into audit_store
with quarters as (select quarter, first, last from incoming), described as (
    select q.quarter, s.store, max_by(s, (s.seen_on, s)) as d
    from store_seen s join quarters q on s.seen_on <= q.last group by q.quarter, s.store
), listed as (
    select store, seen_on, count(distinct station) as stations
    from station_seen group by store, seen_on
), exported as (
    select q.quarter, l.store, count(*) filter (l.seen_on >= q.first) as exports,
        max(l.seen_on) as last_export,
        coalesce(max_by(l.stations, l.seen_on) filter (l.seen_on >= q.first), 0) as stations
    from listed l join quarters q on l.seen_on <= q.last group by q.quarter, l.store
), agreed as (
    select q.quarter, b.store, max_by(b.version, (b.approved_on, b.version)) as version,
        max(b.approved_on) as agreed_on
    from baseline b join quarters q on b.approved_on <= q.last group by q.quarter, b.store
), moments as (
    select distinct store, clock, time_bucket(interval 15 minutes, scanned_at) as at
    from ed_reading
    where scanned_at < (select max(last) from quarters) + interval 2 days
), zones as (
    select store, max_by(time_zone, seen_on) as time_zone from store_seen
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
select e.quarter, e.store, coalesce(s.d.name, e.store), coalesce(s.d.region, 'no region'),
    coalesce(s.d.store_type, 'no type'), coalesce(x.exports, 0), x.last_export,
    coalesce(x.stations, 0), a.version, a.agreed_on, coalesce(v.scan_days, 0)
from every e
left join described s using (quarter, store)
left join exported x using (quarter, store)
left join agreed a using (quarter, store)
left join surveyed v using (quarter, store)
order by e.quarter, e.store;
