-- name: clean_heard
-- Type and judge every row of a "heard" export, in the file's order.
create or replace temp table cleaned as
with written as (
    select line_number, case when filled(neighbour) is null and (is_total(store) or is_total(station))
            then coalesce(row_fault, 'totals-row') else row_fault end as row_fault,
        beyond, filled(store) as store, filled(station) as station,
        filled(neighbour) as neighbour, filled(neighbour_store) as neighbour_store,
        coalesce(filled(seen_on), $exported_on) as seen_cell,
        filled(level_dbm) as level_cell
    from staged
), typed as (
    select *, as_day(seen_cell, $day_order) as seen_on,
        as_dbm(level_cell, $comma, $level_dbm_factor) as level_dbm
    from written
), judged as (
    select *, coalesce(row_fault is null and store is not null and station is not null
        and neighbour is not null and seen_on is not null
        and (station <> neighbour or coalesce(neighbour_store <> store, false))
        and heard_level(level_dbm) is not null
        and not damaged(concat_ws(' ', store, station, neighbour, neighbour_store)), false) as good
    from typed
)
select line_number, store, station, neighbour, nullif(neighbour_store, store) as neighbour_store,
    seen_on, level_dbm, good,
    case when row_fault is not null then [wrong(row_fault, '', beyond)]
        when not good then list_filter([
        case when store is null then wrong('key-missing', 'store', '') end,
        case when station is null then wrong('key-missing', 'station', '') end,
        case when neighbour is null then wrong('key-missing', 'neighbour', '') end,
        case when station = neighbour and coalesce(neighbour_store = store, true)
            then wrong('heard-itself', 'neighbour', neighbour) end,
        case when seen_on is null then wrong('date-unreadable', 'seen_on', seen_cell) end,
        case when damaged(concat_ws(' ', store, station, neighbour, neighbour_store))
            then wrong('text-damaged', '',
                concat_ws(' ', store, station, neighbour, neighbour_store)) end,
        case when level_cell is null then wrong('level-missing', 'level_dbm', '')
            when level_dbm is null then wrong('level-not-a-number', 'level_dbm', level_cell)
            when heard_level(level_dbm) is null
                then wrong(level_problem(level_dbm), 'level_dbm', level_cell) end
    ], lambda p: p is not null) end as problems
from judged;

-- name: load_heard
-- Add the good rows to the set: one of equal rows, none that it holds already.
insert into heard_seen by name
select * exclude (held)
from (
    select * exclude (line_number, good, problems), false as held from cleaned where good
    union all by name
    select *, true as held from heard_seen
    where seen_on in (select distinct seen_on from cleaned where good)
)
group by all having not bool_or(held);
