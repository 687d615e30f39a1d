-- name: hardware-address-local
-- title: Hardware address is locally administered
-- title.de: Hardwareadresse ist lokal vergeben
-- severity: watch
-- says: Hardware address {eui64} was set by hand (locally administered).
-- says.de: Die Hardwareadresse {eui64} wurde von Hand vergeben (lokal verwaltet).
-- why: The maker's addresses are unique; one set by hand is only as unique as the list it came
--   from, and names no maker. It often means a replaced or cloned device.
-- do: Check that the address was set on purpose and written down; else restore the maker's own.
-- source: IEEE EUI-64 guidelines: the second-lowest bit of the first octet (U/L).
select store, station as subject, eui64
from station_now
where regexp_full_match(eui64, '[0-9a-fA-F]{16}')
    and substr(lower(eui64), 2, 1) in ('2', '6', 'a', 'e')
order by store, subject;
