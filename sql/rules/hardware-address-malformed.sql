-- name: hardware-address-malformed
-- title: Hardware address is not a valid EUI-64
-- title.de: Hardwareadresse ist keine gültige EUI-64
-- severity: fix
-- says: Hardware address '{eui64}' {fault:case length=has 12 digits, a 48-bit address; 16 are
--   expected|digits=is not 16 hexadecimal digits|placeholder=is a placeholder, not a
--   device|group=is a group address, not a device}.
-- says.de: Die Hardwareadresse „{eui64}“ {fault:case length=hat 12 Stellen, eine 48-Bit-Adresse; 16
--   sind nötig|digits=besteht nicht aus 16 Hexadezimalstellen|placeholder=ist ein Platzhalter, kein
--   Gerät|group=ist eine Gruppenadresse, kein Gerät}.
-- why: A station is found and replaced by its 64-bit address. One that cannot be an address points
--   to a typing mistake, a cut-off cell or a number turned into a date by a spreadsheet.
-- do: Read the 16 hexadecimal digits on the device and correct the inventory.
-- source: IEEE EUI-64 guidelines; the lowest bit of the first octet marks a group, not a device.
with judged as (
    select store, station, eui64, case
        when regexp_full_match(eui64, '[0-9a-fA-F]{12}') then 'length'
        when not regexp_full_match(eui64, '[0-9a-fA-F]{16}') then 'digits'
        when regexp_full_match(lower(eui64), 'f{16}|0{16}') then 'placeholder'
        when regexp_full_match(eui64, '.[13579bdfBDF].{14}') then 'group'
        end as fault
    from station_now where eui64 is not null
)
select store, station as subject, eui64, fault
from judged
where fault is not null
order by store, subject;
