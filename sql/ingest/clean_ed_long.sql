-- Energy readings, one a row: every row of the file typed and judged, in the file's order.
create or replace temp table cleaned as
with typed as (
    select line_number, row_fault, beyond, tidy(store, $odd) as store,
        tidy(station, $odd) as station, scanned_at as stamp, channel as channel_cell,
        level as level_cell, statistic as statistic_cell, dwell_ms as dwell_cell,
        own_quiet as quiet_cell, unit as unit_cell, scale as scale_cell, zero_dbm as zero_cell,
        as_moment(stamp, $day_order) as scanned_at,
        if(has_offset(stamp), 'utc', 'store') as clock,
        as_whole(channel_cell, $comma) as channel,
        as_number(level_cell, $comma) as number,
        case when $unit is not null then $unit
            when filled(unit_cell) is not null then as_unit(filled(unit_cell))
            when coalesce(filled(zero_dbm), filled(scale)) is not null then 'raw'
            else $assumed_unit end as unit,
        case when zero_dbm is not null or scale is not null
            then coalesce(as_number(zero_dbm, $comma),
                map($scale_names::varchar[], $scale_zeros::double[])[filled(scale)])
            end as scale_zero_dbm,
        case when db_per_step is not null or scale is not null
            then coalesce(as_number(db_per_step, $comma),
                map($scale_names::varchar[], $scale_steps::double[])[filled(scale)])
            end as scale_db_per_step,
        as_statistic(statistic) as statistic,
        as_number(dwell_cell, $comma) as dwell_ms, as_flag(quiet_cell) as own_quiet
    from staged
), levelled as (
    select *, as_level(number, unit, scale_zero_dbm, scale_db_per_step) as level_dbm from typed
), judged as (
    select *, coalesce(row_fault is null and store is not null and station is not null
        and scanned_at between timestamp '1990-01-01' and timestamp '2200-01-01'
        and channel between 11 and 26 and level_dbm between -130 and 0 and statistic is not null
        and case when dwell_cell is null or dwell_ms between 0 and 86400000 then true
            else filled(dwell_cell) is null end
        and case when quiet_cell is null or own_quiet is not null then true
            else filled(quiet_cell) is null end
        and not ($suspect and (damaged(store) or damaged(station))), false) as good
    from levelled
)
select line_number, store, station, scanned_at, clock, channel, level_dbm, statistic, dwell_ms,
    own_quiet, good,
    case when row_fault is not null then [wrong(row_fault, '', beyond)]
        when not good then list_filter([
        case when store is null then wrong('key-missing', 'store', '') end,
        case when station is null then wrong('key-missing', 'station', '') end,
        case when damaged(store) then wrong('text-damaged', 'store', store) end,
        case when damaged(station) then wrong('text-damaged', 'station', station) end,
        case when filled(stamp) is null then wrong('key-missing', 'scanned_at', '')
            when scanned_at is null or not scanned_at
                between timestamp '1990-01-01' and timestamp '2200-01-01'
            then wrong('date-unreadable', 'scanned_at', stamp) end,
        case when not coalesce(channel between 11 and 26, false)
            then wrong('channel-impossible', 'channel', channel_cell) end,
        case when filled(level_cell) is null then wrong('level-missing', 'level', '')
            when number is null then wrong('level-not-a-number', 'level', level_cell)
            when unit is null then wrong('unit-unknown', 'unit', unit_cell)
            when unit = 'raw' and not number between 0 and 255
                then wrong('level-off-scale', 'level', level_cell)
            when unit = 'raw' and level_dbm is null
                then wrong('scale-unknown', 'scale', coalesce(scale_cell, zero_cell))
            when not level_dbm between -130 and 0
                then wrong('level-impossible', 'level', level_cell) end,
        case when statistic is null
            then wrong('statistic-unknown', 'statistic', statistic_cell) end,
        case when filled(dwell_cell) is not null and not coalesce(dwell_ms between 0 and 86400000, false)
            then wrong('dwell-impossible', 'dwell_ms', dwell_cell) end,
        case when filled(quiet_cell) is not null and own_quiet is null
            then wrong('yes-no-unreadable', 'own_quiet', quiet_cell) end
    ], lambda p: p is not null) end as problems
from judged;
