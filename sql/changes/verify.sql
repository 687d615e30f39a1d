-- name: waiting_stores
-- Stores with a change that waits for an export: it was agreed, and nothing has settled it yet.
select distinct c.store
from change_state_on(date '9999-12-30') s join change c using (change)
where s.state in ('approved', 'scheduled', 'implemented', 'ineffective')
order by c.store;

-- name: waiting
-- What the latest exports say of every change that waits for them, as of this run's day.
-- `since` is the day after which readings and labels count as taken after the change: the day it
-- was reported carried out; else its night, where that lies before the export; else its approval.
-- Once a later plan's change of the same station was ordered, an export speaks of that one alone.
-- Work put right counts from the export that last had it wrong. Own neighbours count by today's
-- channels, as clear_air_now has them.
with standing as (
    select * from change_state_on(date '9999-12-30')
    where state in ('approved', 'scheduled', 'implemented', 'ineffective')
), dated as (
    select e.change,
        max(e.at) filter (e.state = 'implemented' and e.by <> $program) as reported_at,
        max(e.due) filter (e.state = 'scheduled') as due,
        max(e.at) filter (e.state = 'approved') as approved_at,
        max_by(e, e.seq) filter (e.state = 'approved') as agreed
    from change_event e group by e.change
), ordered as (
    select c.*, coalesce(d.agreed.channel, c.to_channel) as ordered_channel,
        ordered_channel = c.to_channel as as_proposed, d.agreed, d.reported_at, d.due as night,
        d.approved_at
    from change c join dated d using (change)
), on_the_way as (
    select c.*, s.state, s.at, s.due, s.by = $program as shown, n.channel as channel_found,
        n.status is not distinct from 'planned' as planned, n.pan_id as pan_id_found,
        n.connected, n.seen_on,
        (select max_by(k.channel_found, k.seq) from change_check k where k.change = c.change)
            as found_before,
        cast(coalesce(c.reported_at, case when c.night < n.seen_on then c.night end, c.approved_at)
            as date) as moved_on,
        -- The channels the station is on before this step, and after it, on its way.
        (select list(o.from_channel order by o.position) from change o
            where o.plan = c.plan and o.station = c.station and o.position <= c.position)
            as channels_before,
        (select list(o.ordered_channel) from ordered o where o.plan = c.plan
            and o.station = c.station and o.position >= c.position) as channels_after
    from standing s
    join ordered c using (change)
    join station_in_plan n on n.store = c.store and n.station = c.station
    where (n.seen_on > cast(s.at as date)
        or (s.state = 'implemented' and s.by = $program and n.seen_on = cast(s.at as date)))
        and c.change not in (select change from change_story where replaced)
), waiting as (
    select w.*, greatest(moved_on, (select max(k.seen_on) from change_check k
        where k.change = w.change and not list_contains(w.channels_after, k.channel_found)))
        as since
    from on_the_way w
), served as (
    select w.change,
        count(*) filter (l.station = w.station and (l.last_heard_on is null
            or l.last_heard_on >= l.seen_on - cast(t.value as integer))) as labels
    from waiting w
    join label_now l on l.store = w.store and l.seen_on > w.since
    cross join setting t where t.name = 'silent_after_days'
    group by w.change
)
select w.change, w.store, w.station, w.from_channel, w.ordered_channel, w.parking, w.state,
    w.due, w.shown, w.channel_found, w.found_before, w.connected, w.seen_on, w.channels_before, w.channels_after,
    w.labels as labels_before, s.labels as labels_after, w.since, w.clear_air_before,
    w.clear_air_before_low, w.clear_air_before_high,
    if(w.as_proposed, w.clear_air_after, w.agreed.promised) as promised,
    if(w.as_proposed, w.clear_air_after_low, w.agreed.promised_low) as promised_low,
    if(w.as_proposed, w.clear_air_after_high, w.agreed.promised_high) as promised_high,
    coalesce(a.free_of_own, 1) as free_of_own, w.sureness, w.channels_before[1] as left_channel,
    w.free_of_own_before,
    (select count(*) from change o join change_state_on(date '9999-12-30') z using (change)
        where o.plan = w.plan and o.change <> w.change and not o.parking
        and z.state not in ('implemented', 'verified', 'ineffective')) as undone,
    w.planned, w.pan_id, w.pan_id_found
from waiting w
left join served s using (change)
left join clear_air_now a on a.store = w.store and a.station = w.station
order by w.store, w.plan, w.position;

-- name: blocks_since
-- The readings on the channels each station is or was on, folded by visit and hour as the survey did.
select b.* from block_today b semi join due_store using (store)
order by b.store, b.station, b.channel, b.visit, b.hour, b.statistic, b.dwell_ms;

-- name: portfolio_fit
-- What the survey fitted over the portfolio.
select fit from portfolio_fit;

-- name: calibration
-- How well promises of clear air hold: by the evidence they rest on and by what was promised, and
-- over all. Only what was done as ordered counts. Promise and measurement are the same estimate;
-- `held` is the share of changes whose interval reaches the promise.
with measured as (
    select s.measured, s.measured_high, s.promised, c.sureness
    from change_story s join change c using (change)
    where s.counts and s.promised is not null and list_contains($stores, s.store)
), bucketed as (
    select *, list_max(list_filter([0, 0.5, 0.7, 0.8, 0.9]::double[], lambda x: x <= promised)) as least
    from measured
)
select coalesce(sureness, 'all') as sureness, coalesce(least, 0) as promised_from,
    case when least is null then 1
        else list_min(list_filter([0.5, 0.7, 0.8, 0.9, 1]::double[], lambda x: x > least)) end
        as promised_to,
    count(*) as changes, round(fsum(promised) / count(*), 6) as promised,
    round(fsum(measured) / count(*), 6) as measured,
    round(fsum(measured - promised) / count(*), 6) as error,
    round(fsum(abs(measured - promised)) / count(*), 6) as absolute_error,
    count(*) filter (coalesce(measured_high, measured) >= promised) / count(*) as held
from bucketed
group by grouping sets ((sureness, least), (sureness), ())
having count(*) > 0
order by grouping(sureness), list_position(['high', 'fair', 'low'], sureness),
    grouping(least), least;

-- name: not_as_ordered
-- Final changes that were ordered and ended otherwise, by how they did. No figure of effect counts
-- them. What lapsed because a later plan has the same order is no end.
select closed as key, count(*) as value from change_story
where closed <> 'as ordered' and decision like 'approved%' and not parking
    and not (state = 'lapsed' and replaced)
    and list_contains($stores, store)
group by closed order by closed;

-- name: not_put_right
-- Final changes that were done differently or undone, and that nobody has ordered anew since.
select change, store, station, parking, ordered_channel, channel_found, state,
    if(closed = 'undone', 'backed out', closed) as result, 'since ' || closed_on as note,
    cast(null as double) as promised, cast(null as double) as measured
from change_story
where closed in ('done differently', 'undone') and not replaced and not parking
    and list_contains($stores, store)
order by store, station, change;
