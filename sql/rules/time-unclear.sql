-- name: time-unclear
-- title: Scan times that do not exist or occur twice
-- title.de: Scanzeiten, die es nicht oder zweimal gibt
-- severity: watch
-- says: {unclear:all {moments:# scan moment|# scan moments} at a time that {twice:case true=occurs
--   twice|false=does not exist} in {zone} (first {first_at:moment})}.
-- says.de: {unclear:all {moments:# Scan|# Scans} zu einer Zeit, die es in {zone} {twice:case
--   true=zweimal|false=nicht} gibt (zuerst {first_at:moment})}.
-- why: When clocks go forward an hour is skipped; when they go back one is shown twice. A time in
--   the skipped hour shows that the export's clock is not the store's; one shown twice may be an
--   hour off. Both are taken as they stand. Scans of the last {survey_stale_days} days count.
-- do: Export times with their offset from UTC, such as 02:30:00+01:00; see that the store's time
--   zone and the clock of the exporting system are right.
-- source: IANA time zone database; RFC 3339, section 4, for offsets
with day as (
    select distinct store, date_trunc('day', scanned_at) as day
    from survey_moment
    where clock = 'store' and date_diff('day', scanned_at::date, (select as_of from this_run))
        <= limit_of('survey_stale_days')
), zoned as (
    select d.store, d.day, z.name as zone
    from day d
    join store_now s on s.store = d.store
    join pg_timezone_names() z on z.name = s.time_zone
), turn as (   -- the zone's offset from UTC well before and well after each day, where it changes
    select zone, day, timezone(zone, timezone('UTC', day - interval '1 day'))
            - (day - interval '1 day') as earlier,
        timezone(zone, timezone('UTC', day + interval '2 days'))
            - (day + interval '2 days') as later
    from (select distinct zone, day from zoned)
    where earlier <> later
), judged as (   -- a time is clear where one of the two offsets leads to it, and not both
    select m.store, m.station, t.zone, m.scanned_at,
        timezone(t.zone, timezone('UTC', m.scanned_at - t.earlier)) = m.scanned_at as was,
        timezone(t.zone, timezone('UTC', m.scanned_at - t.later)) = m.scanned_at as becomes
    from turn t
    join zoned z on z.zone = t.zone and z.day = t.day
    join survey_moment m on m.store = z.store and date_trunc('day', m.scanned_at) = z.day
    join station_now n on n.store = m.store and n.station = m.station
    where m.clock = 'store'
), unclear as (
    select store, station, zone, was as twice, count(*) as moments, min(scanned_at) as first_at
    from judged where was = becomes
    group by store, station, zone, was
)
select store, station as subject,
    list({'moments': moments, 'twice': twice, 'zone': zone, 'first_at': first_at}
        order by first_at, twice) as unclear
from unclear
group by store, station
order by store, subject;
