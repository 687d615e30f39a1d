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
-- Own neighbours count by today's channels, as clear_air_now has them.
with standing as (
    select * from change_state_on(date '9999-12-30')
    where state in ('approved', 'scheduled', 'implemented', 'ineffective')
), dated as (
    select e.change,
        max(e.at) filter (e.state = 'implemented' and e.by <> $program) as reported_at,
        max(e.due) filter (e.state = 'scheduled') as due,
        max(e.at) filter (e.state = 'approved') as approved_at
    from change_event e group by e.change
), waiting as (
    select c.*, s.state, s.at, s.due, s.by = $program as shown, n.channel as channel_found, n.connected, n.seen_on,
        cast(coalesce(d.reported_at, case when d.due < n.seen_on then d.due end, d.approved_at)
            as date) as since,
        -- The channels the station is on before this step, and after it, on its way.
        (select list(o.from_channel order by o.position) from change o
            where o.plan = c.plan and o.station = c.station and o.position <= c.position)
            as channels_before,
        (select list(o.to_channel) from change o where o.plan = c.plan and o.station = c.station
            and o.position >= c.position) as channels_after
    from standing s
    join change c using (change)
    join dated d using (change)
    join station_now n on n.store = c.store and n.station = c.station
    where n.seen_on > cast(s.at as date)
        or (s.state = 'implemented' and s.by = $program and n.seen_on = cast(s.at as date))
), served as (
    select w.change,
        count(*) filter (l.station = w.station and (l.last_heard_on is null
            or l.last_heard_on >= l.seen_on - cast(t.value as integer))) as labels
    from waiting w
    join label_now l on l.store = w.store and l.seen_on > w.since
    cross join setting t where t.name = 'silent_after_days'
    group by w.change
)
select w.change, w.store, w.station, w.from_channel, w.to_channel, w.parking, w.state,
    w.due, w.shown, w.channel_found, w.connected, w.seen_on, w.channels_before, w.channels_after,
    w.labels as labels_before, s.labels as labels_after, w.since, w.clear_air_before,
    w.clear_air_before_low, w.clear_air_before_high, w.clear_air_after as promised,
    w.clear_air_after_low as promised_low, w.clear_air_after_high as promised_high,
    coalesce(a.free_of_own, 1) as free_of_own, w.sureness, w.channels_before[1] as left_channel,
    w.free_of_own_before,
    (select count(*) from change o join change_state_on(date '9999-12-30') z using (change)
        where o.plan = w.plan and o.change <> w.change and not o.parking
        and z.state not in ('implemented', 'verified', 'ineffective')) as undone
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
-- over all. Of each change the last measurement up to $day counts. Promise and measurement are the
-- same estimate; `held` is the share of changes whose interval reaches the promise.
with measured as (
    select k.* from change_check k join change_event e using (seq)
    where k.measured is not null and k.promised is not null and k.readings >= $readings_minimum
        and e."at" < cast($day as timestamp) + interval 1 day
        and k.channel_found = (select c.to_channel from change c where c.change = k.change)
    qualify row_number() over (partition by k.change order by k.seq desc) = 1
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
