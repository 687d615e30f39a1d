-- name: hardware-replaced
-- title: Station has new hardware
-- title.de: Station hat neue Hardware
-- severity: note
-- says: The same station with its life, labels and changes: hardware address {now} since
--   {since:day}, {was} up to {until:day}{before:case null=|else=, then listed as {before}}.
-- says.de: Dieselbe Station mit Verlauf, Schildern und Umstellungen: Hardwareadresse {now} seit
--   {since:day}, {was} bis {until:day}{before:case null=|else=, damals als {before} genannt}.
-- why: Other hardware may hear and send otherwise, so earlier scans tell less of it. Who replaced
--   it should know that its channel and labels are kept.
-- do: Nothing, if it was replaced on purpose: take a new scan, and agree on it at the next audit.
-- source: common practice, no published source
with upto as (
    select distinct s.store, coalesce(p.to_station, s.station) as station, s.station as written,
        s.seen_on, s.eui64
    from station_seen s left join key_pair p on p.store = s.store and p.station = s.station
    where s.seen_on <= (select as_of from this_run)
        and regexp_full_match(s.eui64, '[0-9a-f]{12}([0-9a-f]{4})?')
), told as (
    select *, lag(eui64) over each_one as was, lag(seen_on) over each_one as until,
        lag(written) over each_one as before
    from upto window each_one as (partition by store, station order by seen_on, written)
), changed as (
    select * from told where eui64 <> was
    qualify row_number() over (partition by store, station order by seen_on desc) = 1
)
select c.store, c.station as subject, c.eui64 as now, c.was, c.seen_on as since, c.until,
    nullif(c.before, c.station) as before
from changed c
semi join station_now n
    on n.store = c.store and n.station = c.station and n.seen_on = c.seen_on
anti join inventory_item i on i.store = c.store and i.subject = c.station
    and i.what in ('changed', 'twice') and i.open
order by c.store, subject;
