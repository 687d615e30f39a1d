-- Energy readings, one scan a row with a column per channel: every row typed and judged, in the
-- file's order. A channel without a level was not scanned.
create or replace temp table cleaned as
with written as (
    select line_number, row_fault, beyond, tidy(store, $odd) as store, tidy(station, $odd) as station,
        scanned_at as stamp, tidy(statistic, $odd) as statistic_cell, tidy(dwell_ms, $odd) as dwell_cell,
        tidy(own_quiet, $odd) as quiet_cell, tidy(unit, $odd) as unit_cell, tidy(scale, $odd) as scale_cell,
        tidy(zero_dbm, $odd) as zero_cell, tidy(db_per_step, $odd) as step_cell,
        list_filter([
            {'channel': 11, 'cell': tidy(c11, $odd)}, {'channel': 12, 'cell': tidy(c12, $odd)},
            {'channel': 13, 'cell': tidy(c13, $odd)}, {'channel': 14, 'cell': tidy(c14, $odd)},
            {'channel': 15, 'cell': tidy(c15, $odd)}, {'channel': 16, 'cell': tidy(c16, $odd)},
            {'channel': 17, 'cell': tidy(c17, $odd)}, {'channel': 18, 'cell': tidy(c18, $odd)},
            {'channel': 19, 'cell': tidy(c19, $odd)}, {'channel': 20, 'cell': tidy(c20, $odd)},
            {'channel': 21, 'cell': tidy(c21, $odd)}, {'channel': 22, 'cell': tidy(c22, $odd)},
            {'channel': 23, 'cell': tidy(c23, $odd)}, {'channel': 24, 'cell': tidy(c24, $odd)},
            {'channel': 25, 'cell': tidy(c25, $odd)}, {'channel': 26, 'cell': tidy(c26, $odd)}
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
    case when row_fault is not null then [wrong(row_fault, '', beyond)]
        when not good then list_concat(list_filter([
        case when store is null then wrong('key-missing', 'store', '') end,
        case when station is null then wrong('key-missing', 'station', '') end,
        case when damaged(store) then wrong('text-damaged', 'store', store) end,
        case when damaged(station) then wrong('text-damaged', 'station', station) end,
        case when tidy(stamp, $odd) is null then wrong('key-missing', 'scanned_at', '')
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
