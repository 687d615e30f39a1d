-- name: hardware-address-repeated
-- title: Hardware address used more than once
-- title.de: Hardwareadresse mehrfach vergeben
-- severity: fix
-- says: Hardware address {address} is listed for {places:# station|# stations}, among them
--   {others:all}.
-- says.de: Die Hardwareadresse {address} steht bei {places:# Station|# Stationen}, darunter
--   {others:all}.
-- why: A hardware address belongs to one device. If it is listed twice, either one entry is wrong
--   or a device was moved and its old entry stayed: work orders would go to the wrong ceiling.
-- do: Read the address on the devices and correct the inventory; delete the entry left over.
-- source: IEEE EUI-64 guidelines: an address is assigned once.
with place as (   -- what is no address at all is a finding of its own
    select lower(eui64) as address, count(*) as places,
        list(store || ' ' || station order by store, station)[1:5] as first_places
    from station_in_plan
    where regexp_full_match(eui64, '[0-9a-fA-F]{16}')
        and not regexp_full_match(lower(eui64), '0{16}|f{16}')
    group by lower(eui64) having count(*) > 1
)
select s.store, s.station as subject, p.address, p.places,
    list_filter(p.first_places, lambda x: x <> s.store || ' ' || s.station) as others
from station_in_plan s
join place p on p.address = lower(s.eui64)
order by s.store, subject;
