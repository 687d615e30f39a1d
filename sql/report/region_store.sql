-- One row a store for the region review: what it is, how far its changes are, what stands in the way.
-- A store whose plan nobody registered has its moves counted as not yet put forward.
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
        sum(greatest(coalesce(l.labels, 0), 1)) as weight,
        fsum(p.clear_air_now * greatest(coalesce(l.labels, 0), 1)) as clear_now,
        fsum(p.clear_air_planned * greatest(coalesce(l.labels, 0), 1)) as clear_planned
    from station_plan p left join station_load l using (store, station) group by p.store
), aired as (
    select a.store, sum(greatest(coalesce(l.labels, 0), 1)) as weight,
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
)
select n.region, n.store, n.name, n.country, n.last_seen_on,
    coalesce(x.stations, 0), coalesce(v.labels, 0)::bigint,
    coalesce(p.clear_now / p.weight, a.clear_now / a.weight) as clear_air_now,
    p.clear_planned / p.weight as clear_air_planned,
    coalesce(p.weight, a.weight, 0)::bigint as weight,
    coalesce(s.verified, 0), coalesce(s.implemented, 0), coalesce(s.failed, 0),
    coalesce(s.scheduled, 0), coalesce(s.approved, 0), coalesce(s.to_decide, 0),
    if(exists (from change_plan c where c.store = n.store), 0, coalesce(p.moves, 0)) as unput,
    coalesce(s.overdue, 0), s.next_work, coalesce(f.stop, 0), coalesce(f.fix, 0),
    coalesce(d.stations, 0), u.reason
from store_now n
left join states s using (store)
left join planned p using (store)
left join aired a using (store)
left join listed x using (store)
left join served v using (store)
left join found f using (store)
left join astray d using (store)
left join unplanned_store u using (store)
order by n.region, n.store;
