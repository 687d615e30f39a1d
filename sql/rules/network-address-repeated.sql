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
join station_in_plan o   -- radios of one housing share place and address, each at its own port
    on o.store = s.store and o.ip_address = s.ip_address and o.station <> s.station
    and (coalesce(o.port = s.port, true)
        or row(o.floor, o.x_m, o.y_m) is distinct from row(s.floor, s.x_m, s.y_m))
group by s.store, s.station, s.ip_address
order by s.store, subject;
