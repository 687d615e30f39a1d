-- name: clean_stations
-- Type and judge every row of a stations export, in the file's order.
create or replace temp table cleaned as
with written as (
    select line_number, case when is_total(store)
            and (filled(station) is null or filled(channel) is null or filled(store) = $last_total)
            or is_total(station) and filled(channel) is null
            then coalesce(row_fault, 'totals-row') else row_fault end as row_fault,
        beyond, filled(store) as store, filled(station) as station,
        coalesce(filled(seen_on), $exported_on) as seen_cell, filled(name) as name,
        filled(mounted) as mounted, said(floor) as floor_cell, said(x_m) as x_cell,
        said(y_m) as y_cell, filled(channel) as channel_cell, said(pan_id) as pan_cell,
        said(tx_power_dbm) as power_cell, as_eui64(said(eui64)) as eui64,
        said(ip_address) as ip_address, said(port) as port_cell, said(firmware) as firmware,
        said(hardware) as hardware, said(connected) as connected_cell, said(status) as status_cell
    from staged
), first_typed as (   -- an alias within its own select would be its expression again, at each use
    select *, as_channel(channel_cell, $comma, $channel_numerals) as channel,
        as_flag(connected_cell) as connected, list_contains($far::varchar[], store) as far
    from written
), typed as (
    select *, as_day(seen_cell, $day_order) as seen_on, as_floor(floor_cell, $comma) as floor,
        as_metres(if(far, null, x_cell), $comma, $x_m_factor) as x_m,
        as_metres(if(far, null, y_cell), $comma, $y_m_factor) as y_m,
        other_band(channel_cell, channel, $channel_numerals) as other_band,
        as_pan_id(pan_cell, $pan_numerals) as pan_id,
        as_power(power_cell, $comma, $in_mw) as tx_power_dbm,
        list_transform([bare(port_cell, '/(tcp|udp)')], lambda p: as_whole(p, $comma))[1] as port,
        -- A column called "status" may say either.
        as_status(if(status_cell is null and connected is null, connected_cell, status_cell))
            as status
    from first_typed
), bounded as (   -- what cannot be is not known
    select * replace (within(floor, -20, 200) as floor, within(x_m, -10000, 10000) as x_m,
        within(y_m, -10000, 10000) as y_m, if(other_band, null, channel) as channel,
        within(tx_power_dbm, -60, 40) as tx_power_dbm, within(port, 1, 65535) as port)
    from typed
), judged as (   -- a station without its key, or on a channel that cannot be read, is none
    select *, $channels_told or coalesce(status <> 'installed', false) as told,
        coalesce(row_fault is null and store is not null and station is not null
        and seen_on is not null and not damaged(store) and not damaged(station)
        and (channel_cell is null or channel is not null) and told, false) as good
    from bounded
)
select line_number, store, station, seen_on, sound(name) as name, sound(mounted) as mounted, floor,
    x_m, y_m, channel, pan_id, tx_power_dbm, if(lost_address(eui64), null, sound(eui64)) as eui64,
    if(lost_address(ip_address), null, sound(ip_address)) as ip_address, port,
    sound(firmware) as firmware, sound(hardware) as hardware, connected, status, good,
    case when row_fault is not null then [wrong(row_fault, '', beyond)]
        else nullif(list_filter([
        case when store is null then wrong('key-missing', 'store', '') end,
        case when station is null then wrong('key-missing', 'station', '') end,
        case when seen_on is null then wrong('date-unreadable', 'seen_on', seen_cell) end,
        case when damaged(store) then wrong('text-damaged', 'store', store) end,
        case when damaged(station) then wrong('text-damaged', 'station', station) end,
        case when not told then wrong('channel-missing', '', '') end,
        case when other_band then wrong('band-other', 'channel', channel_cell)
            when channel_cell is not null and channel is null
            then wrong('channel-impossible', 'channel', channel_cell) end,
        case when damaged(name) then wrong('text-damaged', 'name', name) end,
        case when damaged(mounted) then wrong('text-damaged', 'mounted', mounted) end,
        case when floor_cell is not null and floor is null
            then wrong('floor-unreadable', 'floor', floor_cell) end,
        case when x_cell is not null and x_m is null
            then wrong('position-impossible', 'x_m', x_cell) end,
        case when y_cell is not null and y_m is null
            then wrong('position-impossible', 'y_m', y_cell) end,
        case when pan_cell is not null and pan_id is null
            then wrong('pan-id-impossible', 'pan_id', pan_cell) end,
        case when power_cell is not null and tx_power_dbm is null
            then wrong('power-impossible', 'tx_power_dbm', power_cell) end,
        case when damaged(eui64) then wrong('text-damaged', 'eui64', eui64) end,
        case when damaged(ip_address) then wrong('text-damaged', 'ip_address', ip_address) end,
        case when lost_address(eui64) then wrong('address-lost', 'eui64', eui64) end,
        case when lost_address(ip_address)
            then wrong('address-lost', 'ip_address', ip_address) end,
        case when port_cell is not null and port is null
            then wrong('port-impossible', 'port', port_cell) end,
        case when damaged(firmware) then wrong('text-damaged', 'firmware', firmware) end,
        case when damaged(hardware) then wrong('text-damaged', 'hardware', hardware) end,
        case when connected_cell is not null and connected is null
                and (status is null or status_cell is not null)
            then wrong('yes-no-unreadable', 'connected', connected_cell) end,
        case when status_cell is not null and status is null
            then wrong('status-unreadable', 'status', status_cell) end
    ], lambda p: p is not null), []) end as problems
from judged;

-- name: load_stations
-- Add the good rows to the set: one of equal rows, none that it holds already.
insert into station_seen by name
select * exclude (held)
from (
    select * exclude (line_number, good, problems), false as held from cleaned where good
    union all by name
    select *, true as held from station_seen
    where seen_on in (select distinct seen_on from cleaned where good)
)
group by all having not bool_or(held);

-- name: written_network
-- The network addresses of good rows, as the file writes them.
select distinct ip_address from cleaned where good and ip_address is not null;

-- name: tidy_network
-- Put them in canonical form, so that they compare.
update cleaned set ip_address = f.tidy from address_form f
where f.written = cleaned.ip_address and f.tidy <> f.written;

-- name: told_of_status
-- Whether any row of the file says that its station is not on the air yet, or no longer.
select exists (from cleaned where good and status <> 'installed') as told;
