-- name: turns
-- Every store of the draw: the wave it was put in for good, when its changes since were made, from
-- the night given on, and how many of the plan in force are still to be made.
with taken as (
    select w.store, max_by(w.wave, w.taken_on) as wave
    from wave_taken w, this_run r where w.taken_on <= r.as_of group by w.store
), made as (
    select c.store, min(c.begun_on) as begun_on, max(c.done_on) as done_on
    from change_turn c join wave_draw d using (store)
    where c.done_on >= d.drawn_on group by c.store
), open as (
    select s.store, count(*) as changes
    from change_story s join plan_in_force using (plan)
    where not s.parking and s.waits_for in ('night', 'work') group by s.store
)
select d.region, d.store, d.stratum, t.wave, m.begun_on, m.done_on,
    coalesce(o.changes, 0) as to_make, d.drawn, d.ticket
from wave_draw d
left join taken t using (store) left join made m using (store) left join open o using (store)
order by d.region, d.store;

-- name: label_days
-- What the labels of every store got, by day of a labels export: the share of updates acknowledged,
-- by counts where the export has them, else by labels; and the share of labels not silent.
with counted as (
    select store, seen_on, sum(updates) as updates, sum(acknowledged) as acknowledged,
        fsum(success_share * labels) as shares,
        sum(labels) filter (success_share is not null) as told,
        sum(labels) filter (silent is not null) as labels, sum(silent) as silent
    from label_outcome group by store, seen_on
)
select store, seen_on as day, 'acknowledged' as outcome,
    coalesce(acknowledged / nullif(updates, 0), shares / told) as value,
    cast(coalesce(nullif(updates, 0), told) as double) as worth
from counted where updates > 0 or told > 0
union all by name
select store, seen_on as day, 'heard' as outcome, 1 - silent / labels as value,
    cast(labels as double) as worth
from counted where labels > 0
order by outcome, store, day;

-- name: air_days
-- Clear air of the stores of the draw as the scans of a day found it, on the channels of that day:
-- the share of readings below the threshold, times what own neighbours left free then, weighted by
-- labels. A channel holds from the night on which the register has the change, not from the export
-- that shows it; what the first export shows held before it too.
with listed as (
    select store, station, channel, valid_from,
        lag(valid_from) over (partition by store, station order by valid_from) as before
    from station_history semi join wave_draw using (store)
), since as (
    select l.store, l.station, l.channel, l.valid_from, if(l.before is null, date '1900-01-01',
        coalesce(max(c.done_on), l.valid_from)) as since
    from listed l left join change_turn c on c.store = l.store and c.station = l.station
        and c.ordered_channel = l.channel and c.done_on > l.before and c.done_on <= l.valid_from
    group by l.store, l.station, l.channel, l.valid_from, l.before
), held as (
    select *, lead(since) over (partition by store, station order by valid_from) as until
    from since
), scanned as (
    select store, station, channel, cast(begins as date) as day, sum(readings) as readings,
        sum(busy) / sum(readings) as busy
    from block_today semi join wave_draw using (store)
    where begins::date <= (select as_of from this_run)
    group by store, station, channel, cast(begins as date)
), on_it as (
    select s.* from scanned s join held h using (store, station, channel)
    where s.day >= h.since and (h.until is null or s.day < h.until)
), own as (
    select o.store, o.station, o.day, exp(fsum(ln(greatest(1e-9, 1 - coalesce(l.air_share, 0)
        * case abs(o.channel - n.channel) when 0 then e.hit_co when 1 then e.hit_adjacent
            when 2 then e.hit_alternate else 0 end)))) as free
    from on_it o join earshot e using (store, station)
    join held n on n.store = o.store and n.station = e.neighbour
        and o.day >= n.since and (n.until is null or o.day < n.until)
    left join station_load l on l.store = o.store and l.station = e.neighbour
    group by o.store, o.station, o.day
)
select o.store, o.day, 'clear_air' as outcome,
    fsum((1 - o.busy) * coalesce(w.free, 1) * greatest(coalesce(l.labels, 0), 1))
        / sum(greatest(coalesce(l.labels, 0), 1)) as value,
    cast(sum(o.readings) as double) as worth
from on_it o
left join own w using (store, station, day) left join station_load l using (store, station)
group by o.store, o.day
order by o.store, o.day;

-- name: upsets
-- What changed the stores of the draw, from the export before it to the one that shows it: many
-- labels mapped to other stations, stations that came, went or were replaced, and stations whose
-- radio was set otherwise. New firmware does not count: it comes to all stores, early or late.
with days as (
    select store, seen_on, lag(seen_on) over (partition by store order by seen_on) as before
    from (select distinct store, seen_on from station_seen semi join wave_draw using (store)
        where seen_on <= (select as_of from this_run))
), met as (
    select distinct d.store, s.station, d.seen_on, d.before
    from days d join station_seen s using (store, seen_on)
), set_so as (
    select *, lag(row(channel, tx_power_dbm, pan_id))
            over (partition by store, station order by valid_from) as earlier,
        row(channel, tx_power_dbm, pan_id) as now
    from station_history semi join wave_draw using (store)
), told as (
    select store, 'remapped' as reason, export_before as before, seen_on from labels_changed
    where moved > labels_before * (select value from setting where name = 'remapped_share_most')
    union all by name
    select store, 'replaced' as reason, before, seen_on from station_replaced
    union all by name
    select m.store, 'replaced' as reason, m.before, m.seen_on
    from met m anti join met e on e.store = m.store and e.station = m.station
        and e.seen_on = m.before
    where m.before is not null
    union all by name
    select m.store, 'replaced' as reason, d.before, d.seen_on
    from met m join days d on d.store = m.store and d.before = m.seen_on
    anti join met e on e.store = m.store and e.station = m.station and e.seen_on = d.seen_on
    union all by name
    select s.store, 'otherwise' as reason, d.before, d.seen_on
    from set_so s join days d on d.store = s.store and d.seen_on = s.valid_from
    where s.earlier is not null and s.earlier is distinct from s.now
), frozen as (
    select d.store, 'frozen' as reason, f.first, f.last
    from wave_draw d join freeze_kept f
        on coalesce(f.store, d.store) = d.store and coalesce(f.region, d.region) = d.region
)
select distinct store, reason, before + 1 as first, seen_on as last
from told semi join wave_draw using (store)
union all by name
from frozen
order by store, first, last, reason;

-- name: planned_waves
-- The stores of each region's waves by stratum, put in for good or laid out, and the last night.
with placed as (
    select store, region, wave, max(night) as last_night
    from change_schedule group by store, region, wave
    union all by name
    select d.store, d.region, max_by(t.wave, t.taken_on) as wave, null as last_night
    from wave_taken t join wave_draw d using (store)
    where d.store not in (select store from change_schedule)
    group by d.store, d.region
)
select p.region, p.wave, d.stratum, count(*) as stores, max(p.last_night) as last_night
from placed p left join wave_draw d using (store)
group by p.region, p.wave, d.stratum order by p.region, p.wave, d.stratum;

-- name: regions
-- The region of every store.
select store as key, region as value from store_now order by store;

-- name: burdens
-- What the stations of today suffer, beside what their labels got on the latest day: by counts
-- where the export has them, else by labels. Shares, 0..1: of time that outside signals hold the
-- channel; that own neighbours on the channel, and beside it, are heard; of labels that hear their
-- station weakly; of time the station sends.
with latest as (
    from label_outcome qualify seen_on = max(seen_on) over (partition by store)
), beside as (
    select s.store, s.station,
        1 - exp(fsum(ln(1 - least(0.99, if(s.channel = n.channel, l.air_share * e.hit_co, 0)))))
            as shared,
        1 - exp(fsum(ln(1 - least(0.99, case abs(s.channel - n.channel)
            when 1 then l.air_share * e.hit_adjacent when 2 then l.air_share * e.hit_alternate
            else 0 end)))) as next_to
    from earshot e
    join station_now s on s.store = e.store and s.station = e.station
    join station_now n on n.store = e.store and n.station = e.neighbour
    join station_load l on l.store = e.store and l.station = e.neighbour
    group by s.store, s.station
)
select o.store, coalesce(nullif(cast(o.updates as double), 0), o.labels) as updates,
    coalesce(o.acknowledged, o.success_share * o.labels) as acknowledged,
    [v.busy_estimate, coalesce(b.shared, 0), coalesce(b.next_to, 0),
        l.weak_labels / greatest(l.labels, 1), l.air_share] as suffers
from latest o
join station_now s using (store, station)
join station_load l using (store, station)
join ed_evidence v on v.store = s.store and v.station = s.station and v.channel = s.channel
left join beside b on b.store = s.store and b.station = s.station
where v.busy_estimate is not null and coalesce(o.acknowledged, o.success_share) is not null
order by o.store, o.station;
