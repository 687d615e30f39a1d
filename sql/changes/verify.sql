-- name: waiting_stores
-- Stores with a change that waits for an export: it was agreed, and nothing has settled it yet.
select distinct c.store
from change_state_on(date '9999-12-30') s join change c using (change)
where s.state in ('approved', 'scheduled', 'implemented', 'ineffective')
order by c.store;

-- name: labels_span
-- The last labels export before each change that exports show carried out, and the latest since.
create or replace temp table labels_span as
with told as (
    select distinct store, seen_on from label_matched
    where seen_on <= (select as_of from this_run)
)
select m.change, m.store, m.station, m.since, m.dated,
    max(t.seen_on) filter (t.seen_on <= m.since) as before_on,
    max(t.seen_on) filter (t.seen_on > m.since) as told_on
from change_made m left join told t using (store)
where m.carried_out and not m.parking
group by all;

-- name: hold_labels
-- Let `label_matched` hold only the exports on both sides of each change, until it is released.
create temp table label_matched as
from main.label_matched l semi join (
    select distinct store, unnest([before_on, told_on]) as seen_on from labels_span
) d on d.store = l.store and d.seen_on = l.seen_on;

-- name: followed
-- Each label that a changed station served in the last labels export before, beside what the
-- latest one since says of it. `due`: it was not silent before. `back`: heard since the change,
-- wherever; null where no export lists it, or none says when. Where nobody said when the change was
-- made, only labels heard lately are surely back.
create or replace temp table followed as
with silent as (
    select value::integer as days from setting where name = 'silent_after_days'
), weighed as materialized (from label_weighed)
select s.change, s.store, s.station, b.label,
    coalesce(b.seen_on - b.last_heard_on <= silent.days, true) as due,
    a.label is not null as listed, a.station as station_now, a.last_heard_on as heard_on,
    a.last_heard_on > if(s.dated, s.since, greatest(s.since, s.told_on - silent.days - 1)) as back,
    b.updates as updates_before, b.acknowledged as acknowledged_before, a.updates, a.acknowledged
from labels_span s
cross join silent
join weighed b on b.store = s.store and b.station = s.station and b.seen_on = s.before_on
left join weighed a on a.store = s.store and a.label = b.label and a.seen_on = s.told_on;

-- name: keep_behind
-- Keep the labels that are listed and were not heard since the change of their station.
insert into label_behind by name
select change, store, station, label, station_now, heard_on from followed
where due and not back
order by store, station, change, label;

-- name: label_changes
-- What became of the labels of each change, and how the share of updates acknowledged changed for
-- those that the same station serves before and after. `error` is the standard error of the change:
-- of a difference of two ratios over the same labels, each label counting as one draw.
with compared as (
    select *, nullif(fsum(updates_before) over one, 0) as sent_before,
        nullif(fsum(updates) over one, 0) as sent,
        fsum(acknowledged_before) over one / sent_before as was,
        fsum(acknowledged) over one / sent as is_now,
        (acknowledged - is_now * updates) / sent
            - (acknowledged_before - was * updates_before) / sent_before as apart
    from followed
    where station_now = station and acknowledged is not null and acknowledged_before is not null
    window one as (partition by change)
), success as (
    select change, count(*) as compared, round(any_value(was), 9) as success_before,
        round(any_value(is_now), 9) as success_after,
        round(sqrt(fsum(apart * apart) * count(*) / nullif(count(*) - 1, 0)), 9) as error
    from compared group by change
)
select p.change, any_value(p.store) as store, any_value(p.station) as station,
    any_value(p.since) as since, any_value(p.told_on) as told_on,
    count(*) filter (f.due) as labels_due, count(*) filter (f.due and f.listed) as labels_listed,
    count(*) filter (f.due and f.back) as labels_back,
    count(*) filter (f.due and f.listed and f.back is null) as labels_unsaid,
    count(*) filter (f.due and f.station_now <> f.station and f.back is not false)
        as labels_elsewhere,
    coalesce(any_value(s.compared), 0) as labels_compared, any_value(s.success_before)
        as success_before, any_value(s.success_after) as success_after, any_value(s.error) as error
from labels_span p
left join followed f using (change)
left join success s using (change)
group by p.change
order by p.change;

-- name: waiting
-- What the latest exports say of every change that waits for them, as of this run's day.
-- Own neighbours count by today's channels, as clear_air_now has them.
select m.change, m.store, m.station, c.from_channel, m.ordered_channel, m.parking, m.state, m.at,
    m.due, m.shown, m.channel_found,
    (select max_by(k.channel_found, k.seq) from change_check k where k.change = m.change)
        as found_before,
    m.connected, m.seen_on, m.channels_before, m.channels_after, c.labels as labels_before, m.since,
    c.clear_air_before, c.clear_air_before_low, c.clear_air_before_high,
    if(m.ordered_channel = c.to_channel, c.clear_air_after, m.agreed.promised) as promised,
    if(m.ordered_channel = c.to_channel, c.clear_air_after_low, m.agreed.promised_low)
        as promised_low,
    if(m.ordered_channel = c.to_channel, c.clear_air_after_high, m.agreed.promised_high)
        as promised_high,
    coalesce(a.free_of_own, 1) as free_of_own, c.sureness, m.channels_before[1] as left_channel,
    c.free_of_own_before,
    (select count(*) from change o join change_state_on(date '9999-12-30') z using (change)
        where o.plan = m.plan and o.change <> m.change and not o.parking
        and z.state not in ('implemented', 'verified', 'ineffective')) as undone
from change_made m
join change c using (change)
left join clear_air_now a on a.store = m.store and a.station = m.station
where m.state <> 'verified'
    and (m.seen_on > cast(m.at as date)
        or (m.state = 'implemented' and m.shown and m.seen_on = cast(m.at as date))
        or (m.state = 'implemented' and not m.shown and m.seen_on > m.since))
order by m.store, m.plan, m.position;

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

-- name: last_night
-- Changes whose night no stations export of before the newest has seen the end of, beside what the
-- newest says of the station and of its labels. `seen_on` is null where it is no later than the
-- night.
with earlier as (
    select n.store, max(s.seen_on) as seen_on
    from (select store, max(seen_on) as seen_on from station_now group by store) n
    join station_seen s on s.store = n.store and s.seen_on < n.seen_on
    group by n.store
)
select m.change, m.store, m.station, m.parking, c.from_channel, m.ordered_channel, m.night,
    if(m.seen_on > m.night, m.seen_on, null) as seen_on, m.channel_found,
    list_contains(m.channels_before, m.channel_found) and not m.carried_out as undone,
    m.carried_out, m.connected, l.told_on, l.labels_due, l.labels_listed, l.labels_back,
    l.labels_unsaid, l.labels_elsewhere,
    coalesce((select list(b.label order by b.label) from label_behind b
        where b.change = m.change), []) as missing
from change_made m
join change c using (change)
left join earlier e on e.store = m.store
left join change_labels l using (change)
where m.night < (select as_of from this_run) and m.night >= coalesce(e.seen_on, m.night)
    and list_contains($stores, m.store)
order by m.store, m.plan, m.position;
