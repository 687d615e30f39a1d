-- Every store with moves to make: what the schedule needs of it, its moves in order, and what they
-- are worth. Moves that were refused, put off or carried out are left out. The worth is clear air
-- gained, weighted by labels; a store without a labels export counts as many per station as the
-- chain has on average.
with force as (
    select plan from change_plan
    qualify row_number() over (partition by store order by number desc) = 1
), settled as (
    select c.store, c.position
    from change c
    join force f on f.plan = c.plan
    join change_state_on((select day from register_day)) s on s.change = c.change
    where s.state in ('refused', 'deferred', 'implemented', 'verified', 'ineffective', 'backed out')
), to_make as (
    select m.store, string_agg(cast(m.position as varchar), ' ' order by m.position) as positions
    from move m anti join settled s on s.store = m.store and s.position = m.position
    group by m.store
), carried as (
    select store, sum(labels) as labels, count(*) as stations from station_load group by store
), chain as (
    select coalesce(sum(labels) / nullif(sum(stations), 0), 1) as labels_per_station
    from carried where labels > 0
), worth as (
    select p.store, round(sum(
        case when c.labels > 0 then coalesce(l.labels, 0) else chain.labels_per_station end
            * (p.clear_air_planned - p.clear_air_now) order by p.station
    ), 4) as benefit
    from station_plan p
    left join station_load l on l.store = p.store and l.station = p.station
    left join carried c on c.store = p.store, chain
    group by p.store
), taken as (
    select w.store, max_by(w.wave, w.taken_on) as wave
    from wave_taken w, this_run r where w.taken_on < r.as_of group by w.store
)
select n.store, n.region, n.store_type, n.country, n.time_zone, n.opens, n.closes,
    t.positions, coalesce(w.benefit, 0) as benefit, k.wave
from to_make t
join store_now n using (store)
left join worth w using (store)
left join taken k using (store)
order by n.store;
