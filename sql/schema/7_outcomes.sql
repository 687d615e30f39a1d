-- name: label_weighed
-- What labels exports said of a label on a day, up to the run's date, with its share of updates
-- acknowledged as `acknowledged` of `updates`. `counted`: the store's export of that day has
-- counts, and labels without one say nothing; else a share stands for the updates that the label is
-- sent a day, or is taken to be sent. A count acknowledged goes before the share beside it; where
-- it is missing, the share of the count sent stands in. Where exports of a day disagree on a label,
-- the smallest row stands, as in label_now.
create or replace view label_weighed as
with upto as (
    select * from label_matched where seen_on <= (select as_of from this_run)
), twice as (
    select store, label, seen_on from upto group by store, label, seen_on having count(*) > 1
), told as (
    select u.* from upto u anti join twice using (store, label, seen_on)
    union all by name
    select u.* from upto u semi join twice using (store, label, seen_on)
    qualify row_number() over (partition by u.store, u.label, u.seen_on order by u) = 1
), export as (
    select store, seen_on, coalesce(bool_or(updates_sent > 0
        and coalesce(updates_acknowledged, success_pct) is not null), false) as counted
    from told group by store, seen_on
)
select t.store, t.label, t.seen_on, t.station, t.last_heard_on, e.counted,
    t.acknowledged_first as first_time,
    if(e.counted, t.updates_sent, coalesce(t.updates_per_day, s.value)) as updates,
    case when e.counted and updates is not null and t.updates_acknowledged is not null
        then t.updates_acknowledged else updates * t.success_pct / 100 end as acknowledged
from told t join export e using (store, seen_on)
cross join setting s where s.name = 'default_updates_per_day';

-- name: label_day
-- The same, beside the store's labels export before: `export_before` is its day, `station_before`
-- the station that served the label then; null: it was not listed, or had none.
create or replace view label_day as
with export as (
    select store, seen_on, lag(seen_on) over (partition by store order by seen_on) as export_before
    from (select distinct store, seen_on from label_matched
        where seen_on <= (select as_of from this_run))
)
select w.*, e.export_before,
    if(lag(w.seen_on) over before = e.export_before, lag(w.station) over before, null)
        as station_before
from label_weighed w join export e using (store, seen_on)
window before as (partition by w.store, w.label order by w.seen_on);

-- name: label_outcome
-- What the labels of a station got, by labels export: of how many updates sent how many they
-- acknowledged. `updates` and `acknowledged` are null where the export has no counts: then
-- `success_share` weighs the labels' shares by the updates each is sent a day
-- (`default_updates_per_day` where the export does not say), which assumes that all shares of an
-- export are of the same days. `silent` counts labels not heard for more than `silent_after_days`,
-- null where none says when it was heard; `moved` those that another station served in the store's
-- labels export before, null in its first.
create or replace view label_outcome as
select store, station, seen_on, count(*) as labels,
    cast(sum(updates) filter (counted and acknowledged is not null) as bigint) as updates,
    cast(round(fsum(acknowledged) filter (counted)) as bigint) as acknowledged,
    cast(sum(first_time) filter (counted and acknowledged is not null) as bigint)
        as acknowledged_first,
    round(fsum(acknowledged) / nullif(fsum(updates) filter (acknowledged is not null), 0), 9)
        as success_share,
    if(count(last_heard_on) = 0, null, count(*) filter (seen_on - last_heard_on > (
        select value from setting where name = 'silent_after_days'))) as silent,
    if(any_value(export_before) is null, null,
        count(*) filter (station_before <> station)) as moved
from label_day
where station is not null
group by store, station, seen_on;

-- name: labels_changed
-- How many of a store's labels another station serves than in the labels export before, of how many
-- that one lists. Comparisons over the days between wash such labels out.
create or replace view labels_changed as
with counted as (
    select store, export_before, seen_on, count(*) as labels,
        count(*) filter (station_before <> station) as moved
    from label_day group by store, export_before, seen_on
)
select n.store, n.export_before, n.seen_on, b.labels as labels_before, n.moved
from counted n join counted b on b.store = n.store and b.seen_on = n.export_before;

-- name: station_replaced
-- Stations whose hardware was replaced, by the EUI-64 of stations exports: between the last export
-- that names the old one and the first that names the new one.
create or replace view station_replaced as
with told as (
    select store, station, seen_on, min(s).eui64 as eui64 from station_seen s
    where seen_on <= (select as_of from this_run) group by store, station, seen_on
), known as (
    select *, lag(seen_on) over before as before, lag(eui64) over before as eui64_before
    from told where eui64 is not null
    window before as (partition by store, station order by seen_on)
)
select store, station, before, seen_on from known where eui64 <> eui64_before;

-- name: change_made
-- The changes that people agreed on, unless a later plan's change of the same station was ordered,
-- beside what the latest stations export says of the station. `ordered_channel` and `agreed` are of
-- the last order. `channels_before` and `channels_after` are those its way leads over before this
-- step and from it on; `carried_out`: the export has it on one of the latter.
-- `since` is the day after which readings and labels count as taken after the change: the evening
-- of its night, where that lies before the export and nobody reported it for a later day than the
-- morning after; else the day it was reported carried out; else its approval. It is no earlier than
-- the last export that has the station elsewhere: work put right counts from there on. `dated`: a
-- night or a report says when it was made.
create or replace view change_made as
with told as (
    select e.change,
        max(e.at) filter (e.state = 'implemented' and e.by <> 'quietaisle') as reported_at,
        cast(max(e.due) filter (e.state = 'scheduled') - interval 12 hours as date) as evening,
        max(e.at) filter (e.state = 'approved') as approved_at,
        max_by(e, e.seq) filter (e.state = 'approved') as agreed
    from change_event e group by e.change
), ordered as (
    select c.*, coalesce(t.agreed.channel, c.to_channel) as ordered_channel,
        t.* exclude (change), cast(t.reported_at as date) as reported_on
    from change_matched c join told t using (change)
), on_the_way as (
    select c.change, c.plan, c.store, c.station, c.position, c.parking, c.ordered_channel, c.agreed,
        s.state, s.at, s.due, s.by = 'quietaisle' as shown,
        n.channel as channel_found, n.connected, n.seen_on, n.pan_id as pan_id_found,
        n.status is not distinct from 'planned' as planned,
        coalesce(c.evening, c.reported_on) as night,
        c.reported_on is not null or coalesce(c.evening < n.seen_on, false) as dated,
        case when c.evening < n.seen_on and coalesce(c.reported_on <= c.evening + 1, true)
            then least(c.evening, c.reported_on)
            else coalesce(c.reported_on, cast(c.approved_at as date)) end as moved_on,
        (select list(o.from_channel order by o.position) from change_matched o
            where o.plan = c.plan and o.station = c.station and o.position <= c.position)
            as channels_before,
        (select list(o.ordered_channel) from ordered o where o.plan = c.plan
            and o.station = c.station and o.position >= c.position) as channels_after
    from change_state_on(date '9999-12-30') s
    join ordered c using (change)
    join station_in_plan n on n.store = c.store and n.station = c.station
    where s.state in ('approved', 'scheduled', 'implemented', 'ineffective', 'verified')
        and c.change not in (select change from change_story where replaced)
)
select w.*, not w.planned and coalesce(list_contains(w.channels_after, w.channel_found), false)
        as carried_out,
    greatest(w.moved_on, (select max(k.seen_on) from change_check k
        where k.change = w.change and not list_contains(w.channels_after, k.channel_found)),
        (select max(e.seen_on) from station_seen e where e.store = w.store
            and e.station = w.station and e.seen_on < w.seen_on
            and list_contains(w.channels_before, e.channel)
            and not list_contains(w.channels_after, e.channel))) as since
from on_the_way w;
