-- name: stations
-- Every station of today and those to be installed, with what the plan needs of each, and what binds
-- it. One to be installed has no channel.
select n.store, n.station, n.channel, l.weight, l.air_share,
    b.channel as kept_on, b.why as kept_why, b."by" as kept_by, b.day as kept_since,
    b.detail as kept_detail, b.facts as kept_facts,
    exists (from plan_bound f
        where f.kind = 'first' and f.store = n.store and f.station = n.station) as first
from station_in_plan n semi join due_store using (store)
join station_load l on l.store = n.store and l.station = n.station
left join station_bound b on b.store = n.store and b.station = n.station
where n.channel is not null or n.status = 'planned'
order by n.store, n.station;

-- name: refused
-- Channels that are not put forward again for a station, and who refused them.
select store, station, channel, plan, "by", day, until, note, gain_low, gain_high
from channel_refused semi join due_store using (store)
order by store, station, channel;

-- name: then
-- The stations as they were when a move of the store was refused, and how they were to be; those of
-- stores planned together with it too.
select t.store, t.plan, t.of_store, t.station, t.channel, t.final
from station_then t
semi join channel_refused r on r.plan = t.plan
semi join due_store using (store)
order by t.store, t.plan, t.of_store, t.station;

-- name: choices
-- Channels a store may use: permitted by the rules and listened to by every label that says so.
with told as (
    select store, channels, count(*) as labels
    from label_now where channels is not null group by store, channels
), listening as (
    select store, cast(unnest(string_split(channels, ' ')) as integer) as channel, labels
    from told
), heard_by_all as (
    select l.store, l.channel from listening l
    group by l.store, l.channel
    having sum(l.labels) = (select sum(t.labels) from told t where t.store = l.store)
)
select p.store, p.channel
from permitted_channel p semi join due_store using (store)
where exists (select 1 from heard_by_all h where h.store = p.store and h.channel = p.channel)
    or not exists (select 1 from told t where t.store = p.store)
order by p.store, p.channel;

-- name: evidence
-- The evidence of every station and channel, as the plan reckons with it. What nobody measured is no
-- reason to go: a station takes a channel that it knows nothing of to be no better than the one it
-- measured where it is, nor than the middle one of the store's stations that measured that channel.
with told as (
    select *, {'cost': expected_cost, 'a': a, 'b': b} as found
    from ed_evidence semi join due_store using (store)
), middle as (
    select store, channel, found from told where source = 'measured'
    qualify row_number() over (partition by store, channel order by found, station)
        = count(*) over (partition by store, channel) // 2 + 1
), here as (
    select store, station, found
    from told semi join station_now using (store, station, channel) where source = 'measured'
), held as (
    select t.*, greatest(t.found, m.found, h.found) as reckoned
    from told t
    left join middle m on m.store = t.store and m.channel = t.channel and t.source = 'absent'
    left join here h on h.store = t.store and h.station = t.station and t.source = 'absent'
)
select store, station, channel, busy_estimate as share, busy_low as low, busy_high as high,
    reckoned.cost, reckoned.a, reckoned.b, worth, readings, own_traffic, source, wifi,
    frames_lost as lost, a as own_a, b as own_b
from held
order by store, station, channel;

-- name: heard
-- Who disturbs whom.
select *
from earshot semi join due_store using (store)
order by store, station, neighbour;

-- name: joined
-- Which stores are planned together, under what name; and those that recent exports leave out, whose
-- stations stay where they were seen last.
with dated as (
    select store, date_diff('day', last_seen_on, r.as_of) as days,
        min(date_diff('day', last_seen_on, r.as_of)) over () as newest_days
    from store_now, this_run r
)
select store, joint, days > s.value and newest_days <= s.value as unseen
from store_joined join dated using (store), setting s
where s.name = 'unseen_after_days'
order by joint, store;

-- name: heard_next_door
-- Who disturbs whom through walls.
select n.*
from earshot_next_door n semi join due_store using (store)
order by n.store, n.station, n.neighbour_store, n.neighbour;

-- name: held
-- Stores that are not planned, since a station of theirs stands on a channel that is not known.
select store, cause, subject, stations from held_store order by store;

-- name: inputs
-- What the plan of each store surveyed is made from, apart from its stations: its survey, which
-- stands for evidence, earshot and labels, and the channels permitted.
with permitted as (
    select store, string_agg(channel, ' ' order by channel) as channels
    from permitted_channel group by store
)
select c.store, c.fingerprint, p.channels, h.cause, h.subject, h.stations
from computed c left join permitted p using (store) left join held_store h using (store)
where c.step = 'survey'
order by c.store;

-- name: visit_correlation
-- How alike two readings of one visit are, as fitted over the portfolio.
select cast(fit ->> 'correlation' as double) from portfolio_fit;

-- name: to_set
-- The stations of the plan that are set for the first time, and what their export says of them.
select distinct s.store, s.station, s.pan_id, s.name, s.floor
from station_planned s semi join (select store, station from move where from_channel is null) m
    using (store, station)
order by s.store, s.station;

-- name: pan_ids_used
-- Every PAN ID that exports ever named, with the stations that had it.
select pan_id as key, list(distinct concat_ws(chr(10), store, station)) as value
from station_seen where pan_id is not null group by pan_id order by pan_id;

-- name: set_first
-- Write PAN ID, power and name into the first settings; `incoming` has the names. The power is the
-- export's, or the usual one, within the limit of the rules file; on channel 26 within that of the band
-- edge too, unless the country is known to have one limit up to it.
update move set pan_id = g.pan_id, name = i.name,
    tx_power_dbm = least(coalesce(s.tx_power_dbm, limit_of('default_tx_power_dbm')),
        limit_of('tx_power_limit_dbm'),
        case when move.to_channel = 26 and b.edge is distinct from 'even'
            then limit_of('band_edge_power_dbm') end)
from incoming i
join station_planned s on s.store = i.store and s.station = i.station
join store_now t on t.store = i.store
left join band_edge_country b on b.country = t.country
left join pan_id_given g on g.store = i.store and g.station = i.station
where move.store = i.store and move.station = i.station and move.from_channel is null;
