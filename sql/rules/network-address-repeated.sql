-- name: network-address-repeated
-- title: Two stations of a store carry the same network address
-- severity: fix
-- why: Two devices with one network address answer for each other; the server reaches now one,
--   now the other, and both look offline half of the time.
-- do: Find which device has the wrong address and correct it, or its line in the inventory.
-- source: RFC 5227 (IPv4 address conflict detection)
with place as (
    select store, ip_address, list(station order by station) as stations
    from station_now where ip_address is not null group by store, ip_address
)
select s.store, s.station as subject,
    format('Network address {} stands also at {}.', s.ip_address,
        named(list_filter(p.stations, lambda x: x <> s.station))) as detail,
    s.ip_address, len(p.stations) as stations
from station_now s
join place p on p.store = s.store and p.ip_address = s.ip_address
where len(p.stations) > 1
order by s.store, subject;
