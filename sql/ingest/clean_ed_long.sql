-- Energy readings, one a row: every row of the file typed and judged, in the file's order.
create or replace temp table cleaned as
with written as (
    select line_number, row_fault, beyond, filled(store) as store, filled(station) as station,
        scanned_at as stamp, channel as channel_cell, filled(level) as level_cell,
        filled(statistic) as statistic_cell, filled(dwell_ms) as dwell_cell,
        filled(own_quiet) as quiet_cell, filled(unit) as unit_cell, filled(scale) as scale_cell,
        filled(zero_dbm) as zero_cell, filled(db_per_step) as step_cell
    from staged
), typed as (
    select *, as_moment(stamp, $day_order) as scanned_at,
        if(has_offset(stamp), 'utc', 'store') as clock,
        as_whole(channel_cell, $comma) as channel,
        as_number(level_cell, $comma) as number,
        coalesce($unit, if(unit_cell is null, null, as_unit(unit_cell)),
            case when unit_cell is null and coalesce(zero_cell, scale_cell) is not null then 'raw' end,
            case when unit_cell is null then $assumed_unit end) as unit,
        coalesce(as_number(zero_cell, $comma),
            map($scale_names::varchar[], $scale_zeros::double[])[scale_cell]) as zero_dbm,
        coalesce(as_number(step_cell, $comma),
            map($scale_names::varchar[], $scale_steps::double[])[scale_cell]) as db_per_step,
        as_statistic(statistic_cell) as statistic,
        as_number(dwell_cell, $comma) as dwell_ms, as_flag(quiet_cell) as own_quiet
    from written
), levelled as (
    select *, as_level(number, unit, zero_dbm, db_per_step) as level_dbm from typed
), judged as (
    select *, coalesce(row_fault is null and store is not null and station is not null
        and scanned_at between timestamp '1990-01-01' and timestamp '2200-01-01'
        and channel between 11 and 26 and level_dbm between -130 and 0 and statistic is not null
        and (dwell_cell is null or dwell_ms between 0 and 86400000)
        and (quiet_cell is null or own_quiet is not null)
        and not ($suspect and (damaged(store) or damaged(station))), false) as good
    from levelled
)
select line_number, store, station, scanned_at, clock, channel, level_dbm, statistic, dwell_ms,
    own_quiet, good,
    case when not good then list_filter([
        case when row_fault is not null then wrong(row_fault, '', beyond) end,
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
        case when level_cell is null then wrong('level-missing', 'level', '')
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
        case when dwell_cell is not null and not coalesce(dwell_ms between 0 and 86400000, false)
            then wrong('dwell-impossible', 'dwell_ms', dwell_cell) end,
        case when quiet_cell is not null and own_quiet is null
            then wrong('yes-no-unreadable', 'own_quiet', quiet_cell) end
    ], lambda p: p is not null) end as problems
from judged;
