-- name: hardware-address-local
-- title: A hardware address is locally administered
-- severity: watch
-- why: The maker's addresses are unique; one set by hand is only as unique as the list it came
--   from, and gives away no maker. It often means a replaced or cloned device.
-- do: Check that the address is set on purpose and written down; else restore the maker's own.
-- source: IEEE EUI-64 guidelines: the second-lowest bit of the first octet (U/L).
select store, station as subject,
    format('Hardware address {} was set by hand (locally administered).', eui64) as detail,
    eui64
from station_now
where regexp_full_match(eui64, '[0-9a-fA-F]{16}')
    and substr(lower(eui64), 2, 1) in ('2', '6', 'a', 'e')
order by store, subject;
