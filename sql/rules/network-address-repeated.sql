-- name: network-address-repeated
-- title: Network address used more than once in a store
-- title.de: Netzwerkadresse in einer Filiale mehrfach vergeben
-- severity: fix
-- says: Network address {address} is also used by {others}.
-- says.de: Die Netzwerkadresse {address} ist auch vergeben an {others}.
-- why: Two devices with one network address answer for each other; the server reaches now one,
--   now the other, and both look offline half of the time.
-- do: Find which device has the wrong address and correct it, or its line in the inventory.
-- source: RFC 5227 (IPv4 address conflict detection)
with place as (
    select store, ip_address, list(station order by station) as stations
    from station_in_plan where ip_address is not null group by store, ip_address
)
select s.store, s.station as subject, s.ip_address as address,
    list_filter(p.stations, lambda x: x <> s.station) as others
from station_in_plan s
join place p on p.store = s.store and p.ip_address = s.ip_address
where len(p.stations) > 1
order by s.store, subject;
