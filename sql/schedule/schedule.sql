-- name: jobs
-- Every store with moves to make: what the schedule needs of it, its moves in order, and what they
-- are worth. Moves that were refused, put off or carried out are left out. The worth is clear air
-- gained, weighted by labels; a store without a labels export counts as many per station as the
-- chain has on average. Urgent are those with a move that a rule puts first.
with bound as (
    select store, station, bool_or(kind = 'first') as first, bool_or(kind = 'alone') as alone
    from plan_bound group by store, station
), to_make as (
    select m.store, list(m.position order by m.position) as positions,
        coalesce(list(m.position order by m.position)
            filter (coalesce(m.waits_for, 'decision') = 'decision'), []) as undecided,
        coalesce(list(m.position order by m.position) filter (b.alone), []) as alone,
        coalesce(list(m.position order by m.position) filter (m.from_channel is null), []) as fresh,
        coalesce(bool_or(b.first), false) as urgent
    from move_story m left join bound b using (store, station)
    where coalesce(m.state, 'proposed') in ('proposed', 'approved', 'scheduled')
    group by m.store
), carried as (
    select store, sum(labels) as labels, count(*) as stations from station_load group by store
), chain as (
    select coalesce(sum(labels) / nullif(sum(stations), 0), 1) as labels_per_station
    from carried where labels > 0
), worth as (
    select p.store, round(sum(
        case when c.labels > 0 then coalesce(l.labels, 0) else chain.labels_per_station end
            * coalesce(p.clear_air_planned
                - if(p.channel_now is null, 0, p.clear_air_now), 0) order by p.station
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
    t.positions, t.undecided, t.alone, t.fresh, t.urgent, coalesce(w.benefit, 0) as benefit, k.wave
from to_make t
join store_now n using (store)
left join worth w using (store)
left join taken k using (store)
order by n.store;

-- name: wifi_neighbours
-- Stores that hear the same Wi-Fi transmitters, under the first of these by hardware address. Names
-- are left out: the chain's own network has one name everywhere.
with heard as (
    select distinct store, lower(replace(network, '-', ':')) as network
    from wifi_now
    where regexp_full_match(lower(network), '[0-9a-f]{2}([:-][0-9a-f]{2}){5}')
        and network not in ('00:00:00:00:00:00', 'ff:ff:ff:ff:ff:ff')
), hearing as (
    select network, list(store order by store) as stores
    from heard group by network having count(*) > 1
)
select min(network) as key, stores as value from hearing group by stores order by key;

-- name: wave_results
-- What became of the waves so far.
select region, wave, stores, verified from wave_result order by region, wave;

-- name: this_day
-- The day this run speaks of.
select as_of from this_run;

-- name: nights_after
-- The day after which nights lie: that of this run, or of the last event of a change, such as
-- a decision, if that is later.
select greatest(r.as_of, max(cast(e."at" as date))) as day
from this_run r
left join change_event e on e."at" < cast((select day from register_day) as timestamp) + interval 1 day
group by r.as_of;

-- name: nights
-- The current schedule.
from change_schedule order by store, night;

-- name: plans_in_force
-- The plan in force of every store that has one in the register.
select store as key, plan as value from plan_in_force order by store;

-- name: night_moves
-- The moves that have a night, in order, as calendar entries list them.
select m.store, m.position, m.station, n.name, m.from_channel, m.to_channel, m.parking,
    coalesce(m.waits_for, 'decision') = 'decision' as waits
from move_story m
left join station_in_plan n on n.store = m.store and n.station = m.station
where m.store in (select store from change_schedule)
order by m.store, m.position;

-- name: region_countries
-- The country of most stores of each region, the first by code among equals.
select region as key, country as value from store_now where country is not null
group by region, country
qualify row_number() over (partition by region order by count(*) desc, country) = 1
order by key;

-- name: forget_draws
-- Forget the tickets that a run of a later day made.
delete from wave_draw where drawn_on > (select as_of from this_run);

-- name: give_tickets
-- Note the ticket of every store that has another than was noted last.
insert into ticket_given by name
with latest as (from ticket_given qualify rowid = max(rowid) over (partition by store))
select d.*, r.as_of
from wave_draw d cross join this_run r left join latest l on l.store = d.store
where (l.region, l.stratum, l.ticket, l.drawn) is distinct from
    (d.region, d.stratum, d.ticket, d.drawn)
order by d.store;

-- name: keep_verdict_rule
-- Keep the limits of the verdict as they are once a store is in a wave for good, and only then.
insert into verdict_rule
select s.name, s.value, r.as_of from setting s, this_run r
where s.name in ('comparison_days', 'verdict_gain_least', 'verdict_loss_most')
    and exists (from wave_taken) and not exists (from verdict_rule)
order by s.name;

-- name: forget_waves
-- Forget what a run of the same day, or of a later one, put in waves.
delete from wave_taken where taken_on >= (select as_of from this_run);

-- name: give_nights
-- Note the nights of every store that has others than were noted last, or none any more.
insert into nights_given by name
with now as (
    select store, string_agg(strftime(starts_local, '%Y-%m-%d %H:%M') || '/'
        || strftime(ends_local, '%Y-%m-%d %H:%M') || ', team ' || team || ', wave ' || wave
        || ', moves ' || first_position || '-' || last_position
        || if(provisional, ', provisional', ''), '; ' order by night, first_position) as nights
    from change_schedule group by store
), latest as (select store, max_by(nights, rowid) as nights from nights_given group by store)
select r.as_of, coalesce(n.store, l.store) as store, coalesce(n.nights, '') as nights
from now n full join latest l on l.store = n.store cross join this_run r
where coalesce(n.nights, '') <> coalesce(l.nights, '')
order by store;

-- name: keep_waves
-- Keep the wave of every store that has a night for certain and was in no wave before.
insert into wave_taken
select s.store, any_value(s.wave), any_value(r.as_of)
from change_schedule s, this_run r
where not s.provisional
    and s.store not in (select store from wave_taken where wave = s.wave)
group by s.store
order by s.store;
