-- name: hardware-address-repeated
-- title: One hardware address stands at several stations
-- severity: fix
-- why: A hardware address belongs to one device. Standing twice, either one entry is wrong or a
--   device was moved and its old entry left: work orders would go to the wrong ceiling.
-- do: Read the address on the devices and correct the inventory; delete the entry left over.
-- source: IEEE EUI-64 guidelines: an address is assigned once.
with place as (   -- what is no address at all is a finding of its own
    select lower(eui64) as address, count(*) as places,
        list(store || ' ' || station order by store, station)[1:5] as first_places
    from station_now
    where regexp_full_match(eui64, '[0-9a-fA-F]{16}')
        and not regexp_full_match(lower(eui64), '0{16}|f{16}')
    group by lower(eui64) having count(*) > 1
)
select s.store, s.station as subject,
    format('Hardware address {} stands at {}, among them {}.', p.address,
        counted(p.places, 'station'), array_to_string(list_filter(p.first_places,
            lambda x: x <> s.store || ' ' || s.station), ', ')) as detail,
    p.address, p.places
from station_now s
join place p on p.address = lower(s.eui64)
order by s.store, subject;
