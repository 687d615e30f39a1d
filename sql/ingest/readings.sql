-- name: judged_readings
-- Every row of an export with one energy reading per row, typed and judged, in the file's order.
create temp macro if not exists judged_readings(odd, day_order, in_utc, comma, channel_numerals,
    unit_said, assumed_unit, scale_names, scale_zeros, scale_steps, dwell_ms_factor, suspect) as table
with typed as (
    select line_number, row_fault, beyond, tidy(store, odd) as store,
        tidy(station, odd) as station, scanned_at as stamp, channel as channel_cell,
        level as level_cell, statistic as statistic_cell, dwell_ms as dwell_cell,
        own_quiet as quiet_cell, unit as unit_cell, scale as scale_cell, zero_dbm as zero_cell,
        as_moment(stamp, day_order) as scanned_at,
        if(in_utc or has_offset(stamp), 'utc', 'store') as clock,
        as_channel(channel_cell, comma, channel_numerals) as channel,
        coalesce(as_number(level_cell, comma), bare_number(level_cell, 'dbm', comma)) as number,
        case when unit_said is not null then unit_said
            when filled(unit_cell) is not null then as_unit(filled(unit_cell))
            when coalesce(filled(zero_dbm), filled(scale)) is not null then 'raw'
            else assumed_unit end as unit,
        case when zero_dbm is not null or scale is not null
            then coalesce(as_number(zero_dbm, comma),
                map(scale_names::varchar[], scale_zeros::double[])[filled(scale)])
            end as scale_zero_dbm,
        case when db_per_step is not null or scale is not null
            then coalesce(as_number(db_per_step, comma),
                map(scale_names::varchar[], scale_steps::double[])[filled(scale)])
            end as scale_db_per_step,
        as_statistic(statistic) as statistic,
        scaled(as_number(dwell_cell, comma), dwell_ms_factor) as dwell_ms, as_flag(quiet_cell) as own_quiet
    from staged
), levelled as (
    select *, as_level(number, unit, scale_zero_dbm, scale_db_per_step) as level_dbm from typed
), judged as (
    select *, coalesce(row_fault is null and store is not null and station is not null
        and scanned_at between timestamp '1990-01-01' and timestamp '2200-01-01'
        and channel between 11 and 26 and is_reading(level_dbm, unit) and statistic is not null
        and not (suspect and (damaged(store) or damaged(station))), false) as good,
        case when dwell_cell is null or dwell_ms between 0 and 86400000 then true
            else said(dwell_cell) is null end
        and case when quiet_cell is null or own_quiet is not null then true
            else said(quiet_cell) is null end as sane
    from levelled
)
select line_number, store, station, scanned_at, clock, channel, level_dbm, statistic,
    within(dwell_ms, 0, 86400000) as dwell_ms, own_quiet, good,
    case when row_fault is not null then [wrong(row_fault, '', beyond)]
        when not good and coalesce(stamp, '') = '' and (is_total(store) or is_total(station))
            then [wrong('totals-row', '', beyond)]
        when not (good and sane) then list_filter([
        case when store is null then wrong('key-missing', 'store', '') end,
        case when station is null then wrong('key-missing', 'station', '') end,
        case when damaged(store) then wrong('text-damaged', 'store', store) end,
        case when damaged(station) then wrong('text-damaged', 'station', station) end,
        case when filled(stamp) is null then wrong('key-missing', 'scanned_at', '')
            when scanned_at is null or not scanned_at
                between timestamp '1990-01-01' and timestamp '2200-01-01'
            then wrong('date-unreadable', 'scanned_at', stamp) end,
        case when other_band(channel_cell, channel, channel_numerals)
            then wrong('band-other', 'channel', channel_cell)
            when not coalesce(channel between 11 and 26, false)
            then wrong('channel-impossible', 'channel', channel_cell) end,
        case when filled(level_cell) is null then wrong('level-missing', 'level', '')
            when number is null then wrong('level-not-a-number', 'level', level_cell)
            when unit is null then wrong('unit-unknown', 'unit', unit_cell)
            when unit = 'raw' and not number between 0 and 255
                then wrong('level-off-scale', 'level', level_cell)
            when unit = 'raw' and level_dbm is null
                then wrong('scale-unknown', 'scale', coalesce(scale_cell, zero_cell))
            when not is_reading(level_dbm, unit)
                then wrong(reading_problem(level_dbm, unit), 'level', level_cell) end,
        case when statistic is null
            then wrong('statistic-unknown', 'statistic', statistic_cell) end,
        case when said(dwell_cell) is not null and not coalesce(dwell_ms between 0 and 86400000, false)
            then wrong('dwell-impossible', 'dwell_ms', dwell_cell) end,
        case when said(quiet_cell) is not null and own_quiet is null
            then wrong('yes-no-unreadable', 'own_quiet', quiet_cell) end
    ], lambda p: p is not null) end as problems
from judged;

-- name: clean_ed_long
-- Keep the judged readings of the file.
create or replace temp table cleaned as
from judged_readings($odd, $day_order, $in_utc, $comma, $channel_numerals, $unit, $assumed_unit,
    $scale_names, $scale_zeros, $scale_steps, $dwell_ms_factor, $suspect);

-- name: straight_from
-- Remember where the readings of the file begin.
set variable held = (select coalesce(max(rowid) + 1, 0) from ed_reading);

-- name: add_straight
-- Add the readings of a file of which every row is good and new; the first that is not ends it.
insert into ed_reading by name
select store, station, scanned_at, clock, channel, level_dbm, statistic, dwell_ms, own_quiet,
    1 as readings
from judged_readings($odd, $day_order, $in_utc, $comma, $channel_numerals, $unit, $assumed_unit,
    $scale_names, $scale_zeros, $scale_steps, $dwell_ms_factor, $suspect)
where case when good and problems is null then true else error('a row that needs care') end;

-- name: cleaned_straight
-- Those readings, as they would have been kept.
create temp view cleaned as
select rowid, cast(null as bigint) as line_number, * exclude (readings), true as good,
    cast(null as struct(problem varchar, field varchar, cell varchar)[]) as problems
from ed_reading where rowid >= getvariable('held');

-- name: forget_straight
drop view cleaned;

-- name: clean_ed_wide
-- Type and judge every row of an export with one scan per row and a column per channel, in the
-- file's order. A channel without a level was not scanned.
create or replace temp table cleaned as
with written as (
    select line_number, row_fault, beyond, tidy(store, $odd) as store,
        tidy(station, $odd) as station,
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
        ], lambda r: r.cell is not null and (substr(r.cell, 2, 1) between '0' and '9'
            or said(r.cell) is not null)) as cells   -- the cheap question first
    from staged
), typed as (
    select *, as_moment(stamp, $day_order) as scanned_at,
        if($in_utc or has_offset(stamp), 'utc', 'store') as clock,
        coalesce($unit, if(unit_cell is null, null, as_unit(unit_cell)),
            case when unit_cell is null and coalesce(zero_cell, scale_cell) is not null then 'raw' end,
            case when unit_cell is null then $assumed_unit end) as unit,
        coalesce(as_number(zero_cell, $comma),
            map($scale_names::varchar[], $scale_zeros::double[])[scale_cell]) as zero_dbm,
        coalesce(as_number(step_cell, $comma),
            map($scale_names::varchar[], $scale_steps::double[])[scale_cell]) as db_per_step,
        as_statistic(statistic_cell) as statistic,
        scaled(as_number(dwell_cell, $comma), $dwell_ms_factor) as dwell_ms, as_flag(quiet_cell) as own_quiet,
        list_transform(cells, lambda r: {'channel': r.channel, 'cell': r.cell,
            'number': coalesce(as_number(r.cell, $comma), bare_number(r.cell, 'dbm', $comma))})
            as numbers
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
        list_filter(levels, lambda r: is_reading(r.level_dbm, unit)) as taken
    from levelled
), decided as (
    select *, coalesce(row_fault is null and store is not null and station is not null
        and scanned_at between timestamp '1990-01-01' and timestamp '2200-01-01'
        and len(taken) > 0 and not coalesce(stuck, false) and statistic is not null
        and not ($suspect and (damaged(store) or damaged(station))), false) as good,
        len(taken) = len(levels) and (dwell_cell is null or dwell_ms between 0 and 86400000)
            and (quiet_cell is null or own_quiet is not null) as sane
    from judged
)
select line_number, store, station, scanned_at, clock,
    list_transform(taken, lambda r: {'channel': r.channel, 'level_dbm': r.level_dbm}) as levels,
    statistic, within(dwell_ms, 0, 86400000) as dwell_ms, own_quiet, good,
    case when row_fault is not null then [wrong(row_fault, '', beyond)]
        when not good and coalesce(stamp, '') = '' and (is_total(store) or is_total(station))
            then [wrong('totals-row', '', beyond)]
        when not (good and coalesce(sane, false)) then nullif(list_concat(list_filter([
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
        case when said(dwell_cell) is not null and not coalesce(dwell_ms between 0 and 86400000, false)
            then wrong('dwell-impossible', 'dwell_ms', dwell_cell) end,
        case when said(quiet_cell) is not null and own_quiet is null
            then wrong('yes-no-unreadable', 'own_quiet', quiet_cell) end
    ], lambda p: p is not null),
    list_filter(list_transform(levels, lambda r: case
        when r.number is null then wrong('level-not-a-number', 'c' || r.channel, r.cell)
        when unit = 'raw' and not r.number between 0 and 255
            then wrong('level-off-scale', 'c' || r.channel, r.cell)
        when not is_reading(r.level_dbm, unit)
            then wrong(reading_problem(r.level_dbm, unit), 'c' || r.channel, r.cell) end),
        lambda p: p is not null)), []) end as problems
from decided;

-- name: readings_long
-- The good readings of the file, one per row.
create or replace temp view reading as
select rowid as n, store, station, scanned_at, clock, channel, level_dbm, statistic, dwell_ms,
    own_quiet
from cleaned where good;

-- name: readings_wide
-- The good readings of the file, one per row: each scan taken apart by channel.
create or replace temp view reading as
select n, store, station, scanned_at, clock, r.channel as channel, r.level_dbm as level_dbm,
    statistic, dwell_ms, own_quiet
from (select rowid as n, *, unnest(levels) as r from cleaned where good);

-- name: scans
-- The scans of the file: number of readings and channels, lowest and highest level.
create or replace temp table scan as
select store, station, scanned_at, clock, count(*) as readings,
    bit_count(bit_or(cast(1 as integer) << (channel - 11))) as channels,
    min(level_dbm) as lowest_dbm, max(level_dbm) as highest_dbm
from reading group by all;

-- name: stuck_scans
-- Whether any scan comes from a stuck radio: at least 8 channels, all with one value, and that at
-- or above the clear-channel threshold.
select exists (
    from scan where channels >= 8 and lowest_dbm = highest_dbm and lowest_dbm >= $cca_dbm
) as stuck;

-- name: mark_stuck
-- Mark the rows of stuck radios as bad. `problems` stays empty: setting a list would move the rows,
-- and a row's place tells its line.
update cleaned set good = false
from scan s
where s.channels >= 8 and s.lowest_dbm = s.highest_dbm and s.lowest_dbm >= $cca_dbm
    and cleaned.good and cleaned.store = s.store and cleaned.station = s.station
    and cleaned.scanned_at = s.scanned_at and cleaned.clock = s.clock;

-- name: entangled_scans
-- Whether a scan has a channel twice in the file, or is in the database: then equal readings must
-- be counted against one another; else every reading is new.
select exists (from scan where readings > channels)
    or exists (
        from ed_reading e semi join scan s
        on e.store = s.store and e.station = s.station and e.scanned_at = s.scanned_at
            and e.clock = s.clock
    ) as entangled;

-- name: entangled_straight
-- The same of readings that were added straight.
select exists (from scan where readings > channels)
    or exists (
        from ed_reading e semi join scan s
        on e.store = s.store and e.station = s.station and e.scanned_at = s.scanned_at
            and e.clock = s.clock
        where e.rowid < getvariable('held')
    ) as entangled;

-- name: load_plain_readings
-- Add the readings where no scan is entangled: all of them are new.
insert into ed_reading by name
select * exclude (n), 1 as readings from reading;

-- name: counted_readings
-- Count equal readings of a file with one per row, where it has more of them than the database.
create or replace temp table folded as
with held as (
    select e.* from ed_reading e semi join scan s
    on e.store = s.store and e.station = s.station and e.scanned_at = s.scanned_at
        and e.clock = s.clock
), counted as (
    select store, station, scanned_at, clock, channel, level_dbm, statistic, dwell_ms, own_quiet,
        count(*) as readings
    from reading group by all
)
select r.* exclude (readings), coalesce(h.readings, 0) as held, r.readings
from counted r left join held h
    on h.store = r.store and h.station = r.station and h.scanned_at = r.scanned_at
    and h.clock = r.clock and h.channel = r.channel and h.level_dbm = r.level_dbm
    and h.statistic = r.statistic and h.dwell_ms is not distinct from r.dwell_ms
    and h.own_quiet is not distinct from r.own_quiet
where r.readings > coalesce(h.readings, 0);

-- name: new_readings
-- How many readings of the file were new, where each is a row.
select coalesce(sum(readings - held), 0) as new from folded;

-- name: numbered_readings
-- Number equal readings, beside how many the database holds: the k-th is new where it holds
-- fewer than k.
create or replace temp table numbered as
with held as (
    select e.* from ed_reading e semi join scan s
    on e.store = s.store and e.station = s.station and e.scanned_at = s.scanned_at
        and e.clock = s.clock
)
select r.*, coalesce(h.readings, 0) as held,
    row_number() over (partition by r.store, r.station, r.scanned_at, r.clock, r.channel,
        r.level_dbm, r.statistic, r.dwell_ms, r.own_quiet order by r.n) as k
from reading r left join held h
    on h.store = r.store and h.station = r.station and h.scanned_at = r.scanned_at
    and h.clock = r.clock and h.channel = r.channel and h.level_dbm = r.level_dbm
    and h.statistic = r.statistic and h.dwell_ms is not distinct from r.dwell_ms
    and h.own_quiet is not distinct from r.own_quiet;

-- name: folded_readings
-- Count equal readings of a file with one scan per row, where it has more than the database.
create or replace temp table folded as
select store, station, scanned_at, clock, channel, level_dbm, statistic, dwell_ms, own_quiet,
    held, max(k) as readings
from numbered
group by all
having max(k) > held;

-- name: new_rows
-- How many rows of the file had a new reading, where each row is a scan.
select count(distinct n) as new from numbered where k > held;

-- name: drop_outgrown
-- Delete the counts that the file exceeds, to make room for the larger ones.
delete from ed_reading using folded f
where f.held > 0 and ed_reading.store = f.store and ed_reading.station = f.station
    and ed_reading.scanned_at = f.scanned_at and ed_reading.clock = f.clock
    and ed_reading.channel = f.channel and ed_reading.level_dbm = f.level_dbm
    and ed_reading.statistic = f.statistic
    and ed_reading.dwell_ms is not distinct from f.dwell_ms
    and ed_reading.own_quiet is not distinct from f.own_quiet;

-- name: load_folded
-- Add the larger counts.
insert into ed_reading by name
select * exclude (held) from folded;

-- name: lines_of
-- Where in the file the readings of a listed station stand, on the store's own clock.
select $file as file, coalesce(c.line_number, $first_line + c.rowid) as line, r.channel,
    if(r.clock = 'utc' and $time_zone is not null,
        timezone($time_zone, timezone('UTC', r.scanned_at)), r.scanned_at) as store_time,
    least(r.level_dbm, 0) as level_dbm, r.statistic, r.dwell_ms
from reading r join cleaned c on c.rowid = r.n
left join key_pair p on p.store = r.store and p.station = r.station
where coalesce(p.to_store, r.store) = $store and coalesce(p.to_station, r.station) = $station
order by line, r.channel;
