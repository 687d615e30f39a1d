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
select s.store, s.station as subject, s.ip_address as address,
    list(o.station order by o.station) as others
from station_in_plan s
join station_in_plan o
    on o.store = s.store and o.ip_address = s.ip_address and o.station <> s.station
anti join station_housing h   -- radios of one housing answer each at its own port
    on h.store = s.store and h.station = s.station and h.beside = o.station
group by s.store, s.station, s.ip_address
order by s.store, subject;
