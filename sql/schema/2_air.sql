-- name: no_measurement
-- Whether a level is a code that radios put in place of one they could not take: -128, 0, 127 or 255.
-- Common practice, no published source.
create or replace macro no_measurement(level) as level in (-128, 0, 127, 255);

-- name: earshot_all
-- Who hears whom, in a store and through the walls to its neighbours.
create or replace view earshot_all as
select store, station, store as neighbour_store, neighbour, heard_dbm, source, distance_m,
    hit_co, hit_adjacent, hit_alternate
from earshot
union all by name
select store, station, neighbour_store, neighbour, heard_dbm, source, hit_co, hit_adjacent,
    hit_alternate
from earshot_next_door;

-- name: clear_air_now
-- Clear air of each station on its channel of today: the chance that it finds the air free,
-- (1 - outside busy) x product over neighbours of (1 - their air share x the chance they are heard),
-- with its 5 and 95 % points; null where the outside is not known.
create or replace view clear_air_now as
with own as (
    select e.store, e.station,
        exp(fsum(ln(greatest(1e-9, 1 - coalesce(l.air_share, 0) * case abs(s.channel - n.channel)
            when 0 then e.hit_co when 1 then e.hit_adjacent when 2 then e.hit_alternate
            else 0 end)))) as free_of_own
    from earshot_all e
    join station_now s on s.store = e.store and s.station = e.station
    join station_now n on n.store = e.neighbour_store and n.station = e.neighbour
    left join station_load l on l.store = e.neighbour_store and l.station = e.neighbour
    group by e.store, e.station
)
select s.store, s.station, s.channel, v.busy_estimate, coalesce(o.free_of_own, 1) as free_of_own,
    round((1 - v.busy_estimate) * coalesce(o.free_of_own, 1), 6) as clear_air,
    round((1 - v.busy_high) * coalesce(o.free_of_own, 1), 6) as clear_air_low,
    round((1 - v.busy_low) * coalesce(o.free_of_own, 1), 6) as clear_air_high
from station_now s
join ed_evidence v on v.store = s.store and v.station = s.station and v.channel = s.channel
left join own o on o.store = s.store and o.station = s.station;

-- name: scan_wanted
-- The stations whose plan more scans may still change: those to scan next, and all of a store whose
-- decision was not weighed, since it has no plan.
create or replace view scan_wanted as
select distinct store, station from ed_evidence
where store not in (select store from plan_sensitivity where unsettled is not null)
union
select store, station from scan_next;

-- name: in_earshot
-- Today's stations in earshot: `station` hears `neighbour`, if it were on the same channel,
-- above the clear-channel threshold with at least the chance the rules file names. One next door is
-- called by its store too.
create or replace view in_earshot as
select e.store, e.station, e.neighbour_store,
    if(e.neighbour_store = e.store, e.neighbour, format('{} ({})', e.neighbour, e.neighbour_store))
        as neighbour, s.channel, n.channel as neighbour_channel,
    abs(s.channel - n.channel) as channels_apart,
    s.pan_id, n.pan_id as neighbour_pan_id,
    e.heard_dbm, e.source, e.distance_m, e.hit_co, e.hit_adjacent
from earshot_all e
join station_now s on s.store = e.store and s.station = e.station
join station_now n on n.store = e.neighbour_store and n.station = e.neighbour
where e.hit_co >= (select value from setting where name = 'earshot_probability');

-- name: wifi_cover
-- The 802.15.4 channels (2 MHz wide) that today's Wi-Fi networks lie over, and the level of
-- each network within them: its power spread evenly over its width.
-- Centres: 2407 + 5 n MHz, 2484 MHz for 14 (IEEE 802.11); 2405 + 5 (k - 11) MHz (IEEE 802.15.4).
-- A 40 MHz network that does not say where its second half lies may lie on either side.
create or replace view wifi_cover as
with network as (
    select *, case wifi_channel when 14 then 2484 else 2407 + 5 * wifi_channel end
        + unnest(case when width_mhz < 40 then [0] when secondary = 'above' then [10]
            when secondary = 'below' then [-10] else [-10, 10] end) as centre_mhz
    from wifi_now
), channels as (select unnest(range(11, 27))::integer as channel)
select distinct n.store, n.station, c.channel, n.network, n.wifi_channel, n.width_mhz,
    n.level_dbm, round(n.level_dbm - 10 * log10(n.width_mhz / 2), 3) as in_channel_dbm
from network n
join channels c on abs(2405 + 5 * (c.channel - 11) - n.centre_mhz) - 1 < n.width_mhz / 2;

-- name: survey_moment
-- The moments of energy scans up to the run's date. Bit c - 11 of `heard` stands for channel c.
create or replace view survey_moment as
select store, station, clock, scanned_at, bit_or(1::integer << (channel - 11)) as heard
from reading_matched
where channel between 11 and 26 and scanned_at::date <= (select as_of from this_run)
group by store, station, clock, scanned_at;

-- name: survey_scan
-- Energy scans up to the run's date. Readings of one moment are one scan; where every reading
-- has a moment of its own, those of one day are. `heard` as in survey_moment.
create or replace view survey_scan as
select store, station, clock, min(scanned_at) as scanned_at, bit_or(heard) as heard
from survey_moment
group by store, station, clock,
    case when bit_count(heard) = 1 then date_trunc('day', scanned_at) else scanned_at end;
