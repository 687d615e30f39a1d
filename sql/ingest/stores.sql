-- name: country_cells
-- The countries as the file writes them.
select distinct said(country) as cell from staged where said(country) is not null order by cell;

-- name: zone_cells
-- The time zones as the file writes them.
select distinct said(time_zone) as cell from staged where said(time_zone) is not null order by cell;

-- name: clean_stores
-- Type and judge every row of a stores export, in the file's order.
create or replace temp table cleaned as
with written as (
    select line_number, case when is_total(store)
            and (filled(name) is null or filled(region) is null or filled(store) = $last_total)
            then coalesce(row_fault, 'totals-row') else row_fault end as row_fault,
        beyond, filled(store) as store,
        coalesce(filled(seen_on), $exported_on) as seen_cell, filled(name) as name,
        filled(region) as region,
        said(country) as country_cell,
        filled(store_type) as store_type,
        said(time_zone) as zone_cell,
        said(opens) as opens_cell, said(closes) as closes_cell, filled(site) as site
    from staged
), typed as (
    select *, as_day(seen_cell, $day_order) as seen_on, as_opening(opens_cell, closes_cell) as opens,
        as_closing(opens_cell, closes_cell) as closes,
        map($country_cells::varchar[], $country_codes::varchar[])[country_cell] as country,
        map($zone_cells::varchar[], $zone_names::varchar[])[zone_cell] as time_zone
    from written
), judged as (   -- a store without its key is none
    select *, coalesce(row_fault is null and store is not null and seen_on is not null
        and not damaged(store), false) as good
    from typed
)
select line_number, store, seen_on, sound(name) as name, sound(region) as region,
    country, sound(store_type) as store_type, time_zone, opens, closes,
    sound(site) as site, good,
    case when row_fault is not null then [wrong(row_fault, '', beyond)]
        else nullif(list_filter([
        case when store is null then wrong('key-missing', 'store', '') end,
        case when seen_on is null then wrong('date-unreadable', 'seen_on', seen_cell) end,
        case when damaged(store) then wrong('text-damaged', 'store', store) end,
        case when damaged(name) then wrong('text-damaged', 'name', name) end,
        case when damaged(region) then wrong('text-damaged', 'region', region) end,
        case when damaged(store_type) then wrong('text-damaged', 'store_type', store_type) end,
        case when country_cell is not null and country is null
            then wrong('country-unknown', 'country', country_cell) end,
        case when zone_cell is not null and time_zone is null
            then wrong('time-zone-unknown', 'time_zone', zone_cell) end,
        case when opens_cell is not null and opens is null
            then wrong('time-unreadable', 'opens', opens_cell) end,
        case when closes_cell is not null and closes is null
            then wrong('time-unreadable', 'closes', closes_cell) end,
        case when damaged(site) then wrong('text-damaged', 'site', site) end
    ], lambda p: p is not null), []) end as problems
from judged;

-- name: load_stores
-- Add the good rows to the set: one of equal rows, none that it holds already.
insert into store_seen by name
select * exclude (held)
from (
    select * exclude (line_number, good, problems), false as held from cleaned where good
    union all by name
    select *, true as held from store_seen
    where seen_on in (select distinct seen_on from cleaned where good)
)
group by all having not bool_or(held);
