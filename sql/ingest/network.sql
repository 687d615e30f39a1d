-- name: clean_network
-- Type and judge every row of a list of a store's network, in the file's order.
create or replace temp table cleaned as
with written as (
    select line_number, case when is_total(store) and filled(ip_address) is null
            then coalesce(row_fault, 'totals-row') else row_fault end as row_fault,
        beyond, filled(store) as store, said(ip_address) as ip_address, said(port) as port_cell,
        as_eui64(said(eui64)) as eui64, said(device) as device,
        coalesce(filled(seen_on), $exported_on) as seen_cell
    from staged
), typed as (
    select *, as_day(seen_cell, $day_order) as seen_on, within(list_transform(
            [bare(port_cell, '/(tcp|udp)')], lambda p: as_whole(p, $comma))[1], 1, 65535) as port
    from written
), judged as (   -- a device without its address is none
    select *, coalesce(row_fault is null and store is not null and ip_address is not null
        and seen_on is not null and not damaged(store) and not damaged(ip_address)
        and not lost_address(ip_address), false) as good
    from typed
)
select line_number, store, ip_address, port, if(lost_address(eui64), null, sound(eui64)) as eui64,
    sound(device) as device, seen_on, good,
    case when row_fault is not null then [wrong(row_fault, '', beyond)]
        else nullif(list_filter([
        case when store is null then wrong('key-missing', 'store', '') end,
        case when ip_address is null then wrong('key-missing', 'ip_address', '') end,
        case when seen_on is null then wrong('date-unreadable', 'seen_on', seen_cell) end,
        case when damaged(store) then wrong('text-damaged', 'store', store) end,
        case when damaged(ip_address) then wrong('text-damaged', 'ip_address', ip_address) end,
        case when lost_address(ip_address)
            then wrong('address-lost', 'ip_address', ip_address) end,
        case when damaged(eui64) then wrong('text-damaged', 'eui64', eui64) end,
        case when lost_address(eui64) then wrong('address-lost', 'eui64', eui64) end,
        case when damaged(device) then wrong('text-damaged', 'device', device) end,
        case when port_cell is not null and port is null
            then wrong('port-impossible', 'port', port_cell) end
    ], lambda p: p is not null), []) end as problems
from judged;

-- name: load_network
-- Add the good rows to the set: one of equal rows, none that it holds already.
insert into network_seen by name
select * exclude (held)
from (
    select * exclude (line_number, good, problems), false as held from cleaned where good
    union all by name
    select *, true as held from network_seen
    where seen_on in (select distinct seen_on from cleaned where good)
)
group by all having not bool_or(held);
