-- name: clean_wifi
-- Type and judge every row of a Wi-Fi export, in the file's order.
create or replace temp table cleaned as
with written as (
    select line_number, case when filled(wifi_channel) is null
            and (is_total(store) or is_total(station) or is_total(network))
            then coalesce(row_fault, 'totals-row') else row_fault end as row_fault,
        beyond, filled(store) as store, filled(station) as station,
        coalesce(filled(seen_on), $exported_on) as seen_cell, filled(network) as network,
        filled(wifi_channel) as channel_cell, filled(width_mhz) as width_cell,
        lower(replace(said(secondary), '−', '-')) as secondary_cell,
        said(level_dbm) as level_cell,
        said(utilisation_pct) as utilisation_cell, said(ours) as ours_cell
    from staged
), typed as (
    select *, as_day(seen_cell, $day_order) as seen_on,
        as_wifi_channel(channel_cell, $comma) as wifi_channel,
        coalesce(as_whole(bare(width_cell, 'mhz'), $comma), if(width_cell is null, 20, null))
            as width_mhz,
        case when secondary_cell in ('above', 'upper', '+1', '+', 'oberhalb', 'oben', 'powyżej')
            then 'above'
            when secondary_cell in ('below', 'lower', '-1', 'unterhalb', 'unten', 'poniżej')
            then 'below' end as secondary,
        as_dbm(level_cell, $comma, $level_dbm_factor) as level_dbm,
        as_percent(utilisation_cell, $comma, $utilisation_pct_factor) as utilisation_pct,
        as_flag(ours_cell) as ours
    from written
), bounded as (   -- what cannot be is not known; a width that is not known counts as 20 MHz
    select *, if(width_mhz in (20, 22, 40), width_mhz, 20) as width_known,
        heard_level(level_dbm) as level_known,
        within(utilisation_pct, 0, 100) as utilisation_known
    from typed
), judged as (   -- a network without its keys and channel is none
    select *, coalesce(row_fault is null and store is not null and network is not null
        and seen_on is not null and wifi_channel between 1 and 14
        and not damaged(store) and not damaged(network), false) as good
    from bounded
)
select line_number, store, sound(station) as station, seen_on, network, wifi_channel,
    width_known as width_mhz, secondary, level_known as level_dbm,
    utilisation_known as utilisation_pct, ours, good,
    case when row_fault is not null then [wrong(row_fault, '', beyond)]
        else nullif(list_filter([
        case when store is null then wrong('key-missing', 'store', '') end,
        case when network is null then wrong('key-missing', 'network', '') end,
        case when seen_on is null then wrong('date-unreadable', 'seen_on', seen_cell) end,
        case when damaged(store) then wrong('text-damaged', 'store', store) end,
        case when damaged(station) then wrong('text-damaged', 'station', station) end,
        case when damaged(network) then wrong('text-damaged', 'network', network) end,
        case when not coalesce(wifi_channel between 1 and 14, false)
            then wrong('wifi-channel-impossible', 'wifi_channel', channel_cell) end,
        case when not coalesce(width_mhz in (20, 22, 40), false)
            then wrong('width-impossible', 'width_mhz', width_cell) end,
        case when secondary_cell not in ('none', 'kein', 'keiner', 'brak') and secondary is null
            then wrong('secondary-unknown', 'secondary', secondary_cell) end,
        case when level_cell is null then null
            when level_dbm is null then wrong('level-not-a-number', 'level_dbm', level_cell)
            when level_known is null
                then wrong(level_problem(level_dbm), 'level_dbm', level_cell) end,
        case when utilisation_cell is not null and utilisation_known is null
            then wrong('utilisation-impossible', 'utilisation_pct', utilisation_cell) end,
        case when ours_cell is not null and ours is null
            then wrong('yes-no-unreadable', 'ours', ours_cell) end
    ], lambda p: p is not null), []) end as problems
from judged;

-- name: load_wifi
-- Add the good rows to the set: one of equal rows, none that it holds already.
insert into wifi_seen by name
select * exclude (held)
from (
    select * exclude (line_number, good, problems), false as held from cleaned where good
    union all by name
    select *, true as held from wifi_seen
    where seen_on in (select distinct seen_on from cleaned where good)
)
group by all having not bool_or(held);
