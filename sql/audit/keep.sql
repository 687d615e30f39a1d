-- name: keep_exceptions
-- Note what has come on file or gone off it since the last run. A run that speaks of a day before
-- the last one noted knows nothing of what was on file then, and adds nothing.
insert into exception_file by name
with latest as (
    select rule, store, subject, reason, approved_by, until, max_by(on_file, rowid) as on_file
    from exception_file group by all
), told as (select distinct rule, store, subject, reason, approved_by, until from exception)
select t.as_of, e.rule is not null as on_file,
    not exists (from run r where r.as_of < t.as_of) as first_run,
    rule, store, subject, reason, approved_by, until
from told e
full join latest l using (rule, store, subject, reason, approved_by, until)
cross join this_run t
where (e.rule is not null) <> coalesce(l.on_file, false)
    and t.as_of >= (select coalesce(max(as_of), t.as_of) from exception_file)
order by rule, store, subject, until, reason, approved_by;

-- name: keep_clear_air
-- Note each station's clear air of this run where it differs from what was noted last; and, where
-- the baseline has another channel, what it would be there with all other stations as they are.
-- The formula is that of clear_air_now. A run that speaks of an earlier day adds nothing.
insert into clear_air_kept by name
with agreed as (
    select store, station, try_cast(arg_max_null(value, (approved_on, version)) as integer) as channel
    from baseline, this_run
    where field = 'channel' and approved_on <= as_of
    group by store, station
), astray as (
    select n.store, n.station, a.channel
    from station_now n join agreed a using (store, station) where a.channel <> n.channel
), own as (
    select e.store, e.station,
        exp(fsum(ln(greatest(1e-9, 1 - coalesce(l.air_share, 0) * case abs(a.channel - n.channel)
            when 0 then e.hit_co when 1 then e.hit_adjacent when 2 then e.hit_alternate
            else 0 end)))) as free_of_own
    from earshot_all e
    join astray a on a.store = e.store and a.station = e.station
    join station_now n on n.store = e.neighbour_store and n.station = e.neighbour
    left join station_load l on l.store = e.neighbour_store and l.station = e.neighbour
    group by e.store, e.station
), there as (
    select a.store, a.station, a.channel,
        round((1 - v.busy_estimate) * coalesce(o.free_of_own, 1), 6) as clear_air
    from astray a
    join ed_evidence v on v.store = a.store and v.station = a.station and v.channel = a.channel
    left join own o on o.store = a.store and o.station = a.station
), now as (
    select c.store, c.station, c.channel, c.clear_air, t.channel as agreed_channel,
        t.clear_air as clear_air_agreed, p.channel_planned as planned_channel,
        p.clear_air_planned, coalesce(l.labels, 0) as labels
    from clear_air_now c
    left join there t using (store, station)
    left join station_plan p using (store, station)
    left join station_load l using (store, station)
    where c.clear_air is not null
), latest as (
    select unnest(max_by(k, k.rowid)) from clear_air_kept k group by k.store, k.station
)
select t.as_of, n.*
from now n cross join this_run t
left join latest l on l.store = n.store and l.station = n.station
where t.as_of >= (select coalesce(max(as_of), t.as_of) from clear_air_kept)
    and (n.channel, n.clear_air, n.agreed_channel, n.clear_air_agreed, n.planned_channel,
        n.clear_air_planned, n.labels)
    is distinct from (l.channel, l.clear_air, l.agreed_channel, l.clear_air_agreed,
        l.planned_channel, l.clear_air_planned, l.labels)
order by n.store, n.station;
