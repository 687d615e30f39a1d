-- name: store_head
-- What the head of a summary says of each store.
select s.store, s.name, s.region, s.country, s.store_type, s.time_zone, s.last_seen_on,
    coalesce(u.facts, u.reason) as unplanned
from store_now s left join unplanned_store u using (store)
where s.store in (select store from due_store)
order by s.store;

-- name: store_stations
-- The stations of each store, those to be installed too, with what the plan, the air and the labels
-- say of them.
-- A store without a plan still has its clear air of today.
select s.*, p.channel_planned, coalesce(p.clear_air_now, c.clear_air) as clear_air_now,
    p.clear_air_planned, p.next_best_channel, p.next_best_cost, p.kept, p.sureness, p.reason,
    coalesce(l.labels, 0) as labels, coalesce(l.weak_labels, 0) as weak_labels,
    coalesce(l.silent_labels, 0) as silent_labels, coalesce(l.lone_labels, 0) as lone_labels,
    coalesce(l.air_share, 0) as air_share, coalesce(l.weight, 1) as weight,
    h.housing, coalesce(h.housing_lone_labels, 0) as housing_lone_labels,
    coalesce(p.facts, '') as facts
from station_in_plan s
left join station_housed h on h.store = s.store and h.station = s.station
left join station_plan p on p.store = s.store and p.station = s.station
left join clear_air_now c on c.store = s.store and c.station = s.station
left join station_load l on l.store = s.store and l.station = s.station
where s.store in (select store from due_store)
order by s.store, s.station;

-- name: store_moves
-- The channel changes of each store in order, with their night if the schedule has one that is not
-- over, and how long the station is off the air. A night is provisional until its move is approved,
-- too.
select m.store, m.position, m.station, m.from_channel, m.to_channel, m.parking,
    m.clear_air_before, m.clear_air_after, m.reason, m.facts,
    n.starts_local as starts_at, n.ends_local as ends_at,
    coalesce(n.provisional or coalesce(m.waits_for, 'decision') = 'decision', false)
        as provisional,
    (select value from setting where name
        = if(m.from_channel is null, 'minutes_per_install', 'minutes_per_move')) as minutes
from move_story m
left join change_schedule n on n.store = m.store
    and m.position between n.first_position and n.last_position
    and n.night >= (select as_of from this_run)
where m.store in (select store from due_store)
order by m.store, m.position, m.station;

-- name: store_air
-- How busy each channel is at each station, and where the figure comes from.
from ed_evidence
where store in (select store from due_store)
order by store, station, channel;

-- name: store_findings
-- What the rules found in this run, gravest first; approved exceptions last.
select store, rule, severity, subject, detail, facts, excepted, '' as title
from finding
where run = (select run from this_run) and store in (select store from due_store)
order by store, excepted is not null,
    list_position(['stop', 'fix', 'watch', 'note'], severity), rule, subject, detail;

-- name: store_pairs
-- Pairs of stations in earshot, each once: the stronger of the two directions counts.
select store, least(station, neighbour) as station, greatest(station, neighbour) as neighbour,
    max(hit_co) as hit, max(heard_dbm) as heard_dbm
from earshot
where store in (select store from due_store)
group by all
having max(hit_co) >= (select value from setting where name = 'earshot_probability')
order by all;

-- name: store_next_door
-- Stations of each store and those next door that can disturb one another, the loudest first: who is
-- heard there, on which channel now and as planned, and what its plan says of it.
with heard as (
    select e.*, greatest(e.hit_co, coalesce(b.hit_co, 0)) as hit
    from earshot_next_door e
    left join earshot_next_door b on b.store = e.neighbour_store and b.station = e.neighbour
        and b.neighbour_store = e.store and b.neighbour = e.station
    where e.store in (select store from due_store)
)
select e.store, e.station, e.neighbour_store, n.name as store_name, e.neighbour, e.heard_dbm,
    e.source, e.hit,
    e.hit >= (select value from setting where name = 'earshot_probability') as in_earshot,
    a.channel as own_now, coalesce(p.channel_planned, a.channel) as own_planned,
    b.channel as channel_now, coalesce(q.channel_planned, b.channel) as channel_planned,
    coalesce(q.facts, '') as facts, u.reason as unplanned
from heard e
join store_now n on n.store = e.neighbour_store
join station_in_plan a on a.store = e.store and a.station = e.station
join station_in_plan b on b.store = e.neighbour_store and b.station = e.neighbour
left join station_plan p on p.store = e.store and p.station = e.station
left join station_plan q on q.store = e.neighbour_store and q.station = e.neighbour
left join unplanned_store u on u.store = e.neighbour_store
order by e.store, e.station, e.heard_dbm desc, e.neighbour_store, e.neighbour;

-- name: store_owed
-- What stations of each store owe to those next door, and what stations there owe to the store's own.
with told as (
    select store as owner, * from owed_next_door
    union all by name
    select neighbour_store as owner, * from owed_next_door where neighbour_store is not null
)
select t.owner as store, t.store as of_store, t.station, p.channel_now, p.channel_planned,
    t.channel_alone, t.neighbour_store, t.neighbour, t.heard_dbm
from told t join station_plan p on p.store = t.store and p.station = t.station
where t.owner in (select store from due_store)
order by t.owner, t.store <> t.owner, t.store, t.station;

-- name: store_joined
-- Which stores are planned together with each.
select j.store, o.store as other, n.name
from store_joined j join store_joined o on o.joint = j.joint and o.store <> j.store
join store_now n on n.store = o.store
where j.store in (select store from due_store)
order by j.store, o.store;

-- name: store_levels
-- Where the levels at stations to be installed come from: 'measured', reckoned from coordinates
-- ('placed'), or 'guessed' where there are none.
select distinct e.store, e.station,
    case when e.source = 'measured' then 'measured' when e.distance_m is null then 'guessed'
        else 'placed' end as source
from earshot e semi join station_planned using (store, station)
where e.store in (select store from due_store)
order by all;

-- name: store_wifi
-- The Wi-Fi seen in each store, by channel and width.
select store, wifi_channel, width_mhz, secondary, count(distinct network) as networks,
    max(level_dbm) as strongest_dbm, round(fsum(utilisation_pct) / count(utilisation_pct), 3) as utilisation_pct
from wifi_now
where store in (select store from due_store)
group by all
order by store, wifi_channel, width_mhz, secondary nulls first;

-- name: store_proofs
-- How good the plan of each store is proven to be, and how sure it is; its loss on evidence drawn
-- anew is per station.
select p.store, p.cost, p.bound, p.optimal, p.cost_now, p.solver, p.order_proven,
    coalesce(s.draws, 0) as draws, coalesce(s.regret / t.stations, 0) as regret,
    coalesce(s.worst / t.stations, 0) as worst, coalesce(s.ask, '') as ask,
    s.unsettled
from plan_proof p
left join plan_sensitivity s using (store)
left join (select store, count(*) as stations from station_plan group by store) t using (store)
where p.store in (select store from due_store)
order by p.store;

-- name: store_scans
-- The scans asked of each store, the station worth most first, in the third of the hours that matter
-- in which it was scanned least; in all of them where it was scanned in all alike.
with asked as (
    select distinct store, station from scan_next where store in (select store from due_store)
), seen as (
    select a.store, a.station, p.*,
        (select count(distinct b.visit) from block_today b where b.store = a.store
            and b.station = a.station and b.hour >= p.begins and b.hour < p.ends) as visits
    from asked a cross join hour_third p
), hours as (
    select store, station,
        if(min(visits) = max(visits), any_value(opens), min_by(begins, [visits, k])) as hour_from,
        if(min(visits) = max(visits), any_value(shuts), min_by(ends, [visits, k])) as hour_until
    from seen group by store, station
)
select n.store, n.station, s.name, n.place, n.channel, p.channel_planned, n.visits, n.readings,
    h.hour_from, h.hour_until, n.quiet, n.worth, n.carried, n.turns_at, n.channel_then
from scan_next n
join hours h using (store, station)
join station_plan p using (store, station)
left join station_now s using (store, station)
order by n.store, n.place, n.carried desc, n.channel;

-- name: store_permitted
-- The channels the rules permit in each store.
select store, channel from permitted_channel
where store in (select store from due_store)
group by all
order by all;

-- name: store_plans
-- The plan in force of each store, unless the run's day is before it.
select store, plan, proposed_on,
    (select any_value(c.proposed_by) from change c where c.plan = p.plan) as proposed_by
from change_plan p
where store in (select store from due_store)
qualify row_number() over (partition by store order by number desc) = 1
    and proposed_on <= (select as_of from this_run)
order by store;

-- name: store_changes
-- The changes of each store's plan in force, or of $plan, with what people decided and reported last.
-- What the program itself noted is no report of a person.
with told as (
    select e.*, case when e.result is not null then 'result' else 'decision' end as kind
    from change_told e
    where (e.result is not null and e.by <> 'quietaisle')
        or (e.result is null and e.state in ('approved', 'refused', 'deferred'))
), latest as (
    select * from told qualify row_number() over (partition by change, kind order by seq desc) = 1
), nights as (
    select change, max_by(due, seq) as due from change_event where state = 'scheduled'
    group by change
)
select c.store, c.change, c.position, c.station, c.from_channel, c.to_channel, c.parking,
    c.clear_air_before, c.clear_air_before_low, c.clear_air_before_high, c.clear_air_after,
    c.clear_air_after_low, c.clear_air_after_high, c.chance, c.labels, c.group_no,
    c.pan_id, c.tx_power_dbm, c.name, coalesce(c.facts, '') as facts, '' as reason,
    d.channel as other, d.until as refused_until, s.state,
    case when s.state in ('scheduled', 'implemented', 'verified', 'ineffective', 'backed out')
        then n.due end as due,
    d.state as decision, d.by as decided_by, cast(d.at as date) as decided_on,
    d.note as decision_note, if(d.carried is null, null, d.said_on) as carried_on,
    d.said_in as carried_in, r.result as outcome, r.by as done_by, r.at as done_at,
    r.note as done_note
from change c
join change_state_on(date '9999-12-30') s using (change)
left join nights n on n.change = c.change
left join latest d on d.change = c.change and d.kind = 'decision'
left join latest r on r.change = c.change and r.kind = 'result'
where c.store in (select store from due_store)
    and c.plan in (select plan from plan_in_force where $plan is null union all select $plan)
order by c.store, c.position;

-- name: store_refusals
-- Every refusal of a station's move, in any plan, oldest first.
select c.store, c.station, c.change, c.to_channel, cast(e."at" as date) as refused_on,
    e."by" as refused_by, e.until as refused_until, e.note
from change_event e join change c using (change)
where e.state = 'refused' and not c.parking and c.store in (select store from due_store)
order by c.store, c.station, e.seq;

-- name: proposed
-- A plan of the register: who proposed it, and when.
select any_value(store) as store, any_value(plan) as plan, any_value(proposed_on) as proposed_on,
    any_value(proposed_by) as proposed_by
from change where plan = $plan;

-- name: store_seals
-- The seal that took in the last entry of each store: whatever is registered of others later
-- changes nothing of its files.
select store, size, root, as_of from store_seal
where store in (select store from due_store)
order by store;

-- name: store_inputs
-- The files that told of each store, and the digest of their digests.
select store, count(*) as files, sha256(string_agg(sha256, chr(10) order by sha256)) as digest
from store_file_matched semi join due_store using (store)
group by store order by store;

-- name: store_outcomes
-- What changes of each store brought whose labels can be looked for, in the order they were made:
-- those that wait, those that still lack labels, and those made lately.
select l.*, s.ordered_channel as channel, s.state, s.gained, s.gained_low, s.gained_high,
    v.value as share, cast(ceil(round(v.value * l.labels_listed, 9)) as bigint) as needed
from change_labels l
join change_story s using (change)
cross join (select limit_of('labels_verified_share') as value) v
where l.store in (select store from due_store)
    and (s.closed is null or l.labels_back < l.labels_listed or l.since >= (
        select r.as_of - cast(t.value as integer) from this_run r, setting t
        where t.name = 'evidence_half_life_days'))
order by l.store, l.since, l.station, l.change;

-- name: store_behind
-- The labels of each store that were not heard since their station was changed.
from label_behind
where store in (select store from due_store)
order by store, station, label, change;

-- name: store_found
-- What is there and not listed, or listed and not there, what awaits an answer first.
select i.* from inventory_item i semi join due_store using (store)
order by i.store, not i.open, i.item;

-- name: store_cover
-- Labels that no channel can help.
from cover_store semi join due_store using (store) order by store;

-- name: store_places
-- Places for a further station or antenna, the best first.
from cover_place semi join due_store using (store) order by store, rank;

-- name: store_requests
-- Changes of Wi-Fi to ask for, the best first.
from wifi_request semi join due_store using (store) order by store, rank;

-- name: store_avoid
-- Networks of others that can only be avoided, the costliest first.
from wifi_avoid semi join due_store using (store)
order by store, costs desc, stations desc, network;

-- name: store_cover_terms
-- What places are judged by.
select store, limit_of('weak_label_dbm') as level_dbm, limit_of('cover_share') as wanted,
    limit_of('minutes_per_install') as install_minutes, limit_of('minutes_per_move') as move_minutes
from cover_store semi join due_store using (store) order by store;
