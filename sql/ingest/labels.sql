-- name: clean_labels
-- Type and judge every row of a labels export, in the file's order.
create or replace temp table cleaned as
with typed as (
    select line_number, case when coalesce(station, '') = '' and (is_total(store) or is_total(label))
            then coalesce(row_fault, 'totals-row') else row_fault end as row_fault,
        beyond, tidy(store, $odd) as store, tidy(label, $odd) as label,
        tidy(station, $odd) as station, coalesce(seen_on, $exported_on) as seen_cell,
        level_dbm as level_cell, stations_heard as heard_cell,
        success_pct as success_cell,
        last_heard_on as last_cell, updates_per_day as updates_cell,
        payload_octets as payload_cell, channels as channels_cell,
        updates_sent as sent_cell, updates_acknowledged as acked_cell,
        acknowledged_first as first_cell, floor as floor_cell, x_m as x_cell, y_m as y_cell,
        as_day(seen_cell, $day_order) as seen_on,
        as_dbm(level_cell, $comma, $level_dbm_factor) as level_dbm,
        as_whole(heard_cell, $comma) as stations_heard,
        as_percent(success_cell, $comma, $success_pct_factor) as success_pct,
        as_day(last_cell, $day_order) as last_heard_on,
        as_number(updates_cell, $comma) as updates_per_day,
        scaled(as_number(payload_cell, $comma), $payload_octets_factor) as payload_octets,
        as_channels(channels_cell, $channel_numerals) as channels,
        as_whole(sent_cell, $comma) as updates_sent,
        as_whole(acked_cell, $comma) as updates_acknowledged,
        as_whole(first_cell, $comma) as acknowledged_first,
        as_floor(floor_cell, $comma) as floor,
        as_metres(x_cell, $comma, $x_m_factor) as x_m, as_metres(y_cell, $comma, $y_m_factor) as y_m
    from staged
), judged as (   -- a cell of blanks or `n/a` is an empty one; asking costs, so it is asked last
    select *,
        -- What a part is held against: the whole, or any number where that is not known.
        coalesce(within(updates_sent, 0, 999999999), 999999999) as most_acknowledged,
        coalesce(within(updates_acknowledged, 0, most_acknowledged), most_acknowledged)
            as most_first,
        coalesce(row_fault is null and store is not null and label is not null
        and seen_on is not null
        and case when level_cell is null or heard_level(level_dbm) is not null then true
            else said(level_cell) is null end
        and case when heard_cell is null or stations_heard between 0 and 10000 then true
            else said(heard_cell) is null end
        and case when success_cell is null or success_pct between 0 and 100 then true
            else said(success_cell) is null end
        and case when last_cell is null or last_heard_on is not null then true
            else said(last_cell) is null end
        and case when updates_cell is null or updates_per_day between 0 and 100000 then true
            else said(updates_cell) is null end
        and case when payload_cell is null or payload_octets between 0 and 100000000 then true
            else said(payload_cell) is null end
        and case when channels_cell is null or channels is not null then true
            else said(channels_cell) is null end
        and case when sent_cell is null or updates_sent >= 0 then true
            else said(sent_cell) is null end
        and case when acked_cell is null or updates_acknowledged between 0 and most_acknowledged
            then true else said(acked_cell) is null end
        and case when first_cell is null or acknowledged_first between 0 and most_first then true
            else said(first_cell) is null end
        and case when floor_cell is null or floor between -20 and 200 then true
            else said(floor_cell) is null end
        and case when x_cell is null or x_m between -10000 and 10000 then true
            else said(x_cell) is null end
        and case when y_cell is null or y_m between -10000 and 10000 then true
            else said(y_cell) is null end
        and not ($suspect and damaged(concat_ws(' ', store, label, station))), false) as sane
    from typed
)   -- a label without its key is none; of any other, what cannot be is not known
select line_number, store, label, seen_on, if(sane, station, sound(station)) as station,
    heard_level(level_dbm) as level_dbm,
    within(stations_heard, 0, 10000) as stations_heard, within(success_pct, 0, 100) as success_pct,
    last_heard_on, within(updates_per_day, 0, 100000) as updates_per_day,
    within(payload_octets, 0, 100000000) as payload_octets, channels,
    within(updates_sent, 0, 999999999) as updates_sent,
    within(updates_acknowledged, 0, most_acknowledged) as updates_acknowledged,
    within(acknowledged_first, 0, most_first) as acknowledged_first,
    within(floor, -20, 200) as floor, within(x_m, -10000, 10000) as x_m,
    within(y_m, -10000, 10000) as y_m,
    sane or coalesce(row_fault is null and store is not null and label is not null
        and seen_on is not null and not damaged(store) and not damaged(label), false) as good,
    case when row_fault is not null then [wrong(row_fault, '', beyond)]
        when not sane then list_filter([
        case when store is null then wrong('key-missing', 'store', '') end,
        case when label is null then wrong('key-missing', 'label', '') end,
        case when seen_on is null then wrong('date-unreadable', 'seen_on', seen_cell) end,
        case when damaged(store) then wrong('text-damaged', 'store', store) end,
        case when damaged(label) then wrong('text-damaged', 'label', label) end,
        case when damaged(station) then wrong('text-damaged', 'station', station) end,
        case when said(level_cell) is null then null
            when level_dbm is null then wrong('level-not-a-number', 'level_dbm', level_cell)
            when heard_level(level_dbm) is null
                then wrong(level_problem(level_dbm), 'level_dbm', level_cell) end,
        case when said(heard_cell) is not null
            and not coalesce(stations_heard between 0 and 10000, false)
            then wrong('count-impossible', 'stations_heard', heard_cell) end,
        case when said(success_cell) is not null and not coalesce(success_pct between 0 and 100, false)
            then wrong('success-impossible', 'success_pct', success_cell) end,
        case when said(last_cell) is not null and last_heard_on is null
            then wrong('date-unreadable', 'last_heard_on', last_cell) end,
        case when said(updates_cell) is not null
            and not coalesce(updates_per_day between 0 and 100000, false)
            then wrong('count-impossible', 'updates_per_day', updates_cell) end,
        case when said(payload_cell) is not null
            and not coalesce(payload_octets between 0 and 100000000, false)
            then wrong('count-impossible', 'payload_octets', payload_cell) end,
        case when said(channels_cell) is not null and channels is null
            then wrong('channel-impossible', 'channels', channels_cell) end,
        case when said(sent_cell) is not null and not coalesce(updates_sent >= 0, false)
            then wrong('count-impossible', 'updates_sent', sent_cell) end,
        case when said(acked_cell) is not null
            and not coalesce(updates_acknowledged between 0 and most_acknowledged, false)
            then wrong('count-impossible', 'updates_acknowledged', acked_cell) end,
        case when said(first_cell) is not null
            and not coalesce(acknowledged_first between 0 and most_first, false)
            then wrong('count-impossible', 'acknowledged_first', first_cell) end,
        case when said(floor_cell) is not null and not coalesce(floor between -20 and 200, false)
            then wrong('floor-unreadable', 'floor', floor_cell) end,
        case when said(x_cell) is not null and not coalesce(x_m between -10000 and 10000, false)
            then wrong('position-impossible', 'x_m', x_cell) end,
        case when said(y_cell) is not null and not coalesce(y_m between -10000 and 10000, false)
            then wrong('position-impossible', 'y_m', y_cell) end
    ], lambda p: p is not null) end as problems
from judged;

-- name: entangled_labels
-- Whether a label occurs twice for one day in the file, or is in the database for that day: then
-- rows must be compared whole; else every row is new.
select exists (select 1 from cleaned where good group by store, label, seen_on having count(*) > 1)
    or exists (
        from (from label_seen where seen_on in (select distinct seen_on from cleaned where good)) e
        semi join (from cleaned where good) c
        on e.store = c.store and e.label = c.label and e.seen_on = c.seen_on
    ) as entangled;

-- name: load_labels
-- Add the good rows to the set: one of equal rows, none that it holds already.
insert into label_seen by name
select * exclude (held)
from (
    select * exclude (line_number, good, problems), false as held from cleaned where good
    union all by name
    select *, true as held from label_seen
    where seen_on in (select distinct seen_on from cleaned where good)
)
group by all having not bool_or(held);

-- name: load_plain_labels
-- Add the good rows where no label is entangled: all of them are new.
insert into label_seen by name
select * exclude (line_number, good, problems) from cleaned where good;
