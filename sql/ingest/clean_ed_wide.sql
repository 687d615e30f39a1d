-- Energy readings, one scan a row with a column per channel: every row typed and judged, in the
-- file's order. A channel without a level was not scanned.
create or replace temp table cleaned as
with written as (
    select line_number, row_fault, beyond, filled(store) as store, filled(station) as station,
        scanned_at as stamp, filled(statistic) as statistic_cell, filled(dwell_ms) as dwell_cell,
        filled(own_quiet) as quiet_cell, filled(unit) as unit_cell, filled(scale) as scale_cell,
        filled(zero_dbm) as zero_cell, filled(db_per_step) as step_cell,
        list_filter([
            {'channel': 11, 'cell': filled(c11)}, {'channel': 12, 'cell': filled(c12)},
            {'channel': 13, 'cell': filled(c13)}, {'channel': 14, 'cell': filled(c14)},
            {'channel': 15, 'cell': filled(c15)}, {'channel': 16, 'cell': filled(c16)},
            {'channel': 17, 'cell': filled(c17)}, {'channel': 18, 'cell': filled(c18)},
            {'channel': 19, 'cell': filled(c19)}, {'channel': 20, 'cell': filled(c20)},
            {'channel': 21, 'cell': filled(c21)}, {'channel': 22, 'cell': filled(c22)},
            {'channel': 23, 'cell': filled(c23)}, {'channel': 24, 'cell': filled(c24)},
            {'channel': 25, 'cell': filled(c25)}, {'channel': 26, 'cell': filled(c26)}
        ], lambda r: r.cell is not null) as cells
    from staged
), typed as (
    select *, as_moment(stamp, $day_order) as scanned_at,
        if(has_offset(stamp), 'utc', 'store') as clock,
        coalesce($unit, if(unit_cell is null, null, as_unit(unit_cell)),
            case when unit_cell is null and coalesce(zero_cell, scale_cell) is not null then 'raw' end,
            case when unit_cell is null then $assumed_unit end) as unit,
        coalesce(as_number(zero_cell, $comma),
            map($scale_names::varchar[], $scale_zeros::double[])[scale_cell]) as zero_dbm,
        coalesce(as_number(step_cell, $comma),
            map($scale_names::varchar[], $scale_steps::double[])[scale_cell]) as db_per_step,
        as_statistic(statistic_cell) as statistic,
        as_number(dwell_cell, $comma) as dwell_ms, as_flag(quiet_cell) as own_quiet,
        list_transform(cells, lambda r: {'channel': r.channel, 'cell': r.cell,
            'number': as_number(r.cell, $comma)}) as numbers
    from written
), levelled as (
    select *, list_transform(numbers, lambda r: {'channel': r.channel, 'cell': r.cell,
        'number': r.number, 'level_dbm': as_level(r.number, unit, zero_dbm, db_per_step)}) as levels
    from typed
), judged as (
    select *,
        len(levels) >= 8 and list_min(list_transform(levels, lambda r: r.level_dbm)) >= $cca_dbm
            and list_min(list_transform(levels, lambda r: r.level_dbm))
                = list_max(list_transform(levels, lambda r: r.level_dbm)) as stuck,
        list_filter(levels, lambda r: not coalesce(r.level_dbm between -130 and 0, false)) as off
    from levelled
), decided as (
    select *, coalesce(row_fault is null and store is not null and station is not null
        and scanned_at between timestamp '1990-01-01' and timestamp '2200-01-01'
        and len(levels) > 0 and len(off) = 0 and not coalesce(stuck, false)
        and statistic is not null
        and (dwell_cell is null or dwell_ms between 0 and 86400000)
        and (quiet_cell is null or own_quiet is not null)
        and not ($suspect and (damaged(store) or damaged(station))), false) as good
    from judged
)
select line_number, store, station, scanned_at, clock,
    list_transform(levels, lambda r: {'channel': r.channel, 'level_dbm': r.level_dbm}) as levels,
    statistic, dwell_ms, own_quiet, good,
    case when not good then list_concat(list_filter([
        case when row_fault is not null then wrong(row_fault, '', beyond) end,
        case when store is null then wrong('key-missing', 'store', '') end,
        case when station is null then wrong('key-missing', 'station', '') end,
        case when damaged(store) then wrong('text-damaged', 'store', store) end,
        case when damaged(station) then wrong('text-damaged', 'station', station) end,
        case when filled(stamp) is null then wrong('key-missing', 'scanned_at', '')
            when scanned_at is null or not scanned_at
                between timestamp '1990-01-01' and timestamp '2200-01-01'
            then wrong('date-unreadable', 'scanned_at', stamp) end,
        case when len(levels) = 0 then wrong('level-missing', 'level', '') end,
        case when stuck then wrong('radio-stuck', 'level', levels[1].cell) end,
        case when len(levels) > 0 and unit is null then wrong('unit-unknown', 'unit', unit_cell)
            when unit = 'raw' and (zero_dbm is null or db_per_step is null)
                then wrong('scale-unknown', 'scale', coalesce(scale_cell, zero_cell)) end,
        case when statistic is null
            then wrong('statistic-unknown', 'statistic', statistic_cell) end,
        case when dwell_cell is not null and not coalesce(dwell_ms between 0 and 86400000, false)
            then wrong('dwell-impossible', 'dwell_ms', dwell_cell) end,
        case when quiet_cell is not null and own_quiet is null
            then wrong('yes-no-unreadable', 'own_quiet', quiet_cell) end
    ], lambda p: p is not null),
    list_transform(list_filter(off, lambda r: r.number is null or r.level_dbm is not null
        or (unit = 'raw' and not coalesce(r.number between 0 and 255, true))),
        lambda r: wrong(case when r.number is null then 'level-not-a-number'
            when unit = 'raw' and not r.number between 0 and 255 then 'level-off-scale'
            else 'level-impossible' end, 'c' || r.channel, r.cell))) end as problems
from decided;
