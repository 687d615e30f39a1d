-- name: pan-id-reserved
-- title: PAN ID is reserved
-- title.de: PAN-ID ist reserviert
-- severity: fix
-- says: PAN ID {pan_id:hex} is reserved.
-- says.de: Die PAN-ID {pan_id:hex} ist reserviert.
-- why: 0xffff means every network at once, or that a device belongs to none. 0xfffe is the
--   marker for "no short address"; some radios refuse it as a PAN ID.
-- do: Give the station a PAN ID from 0x0001 to 0xfffd that no station in earshot uses.
-- source: IEEE 802.15.4 macPANId (0xffff); site rule for 0xfffe.
select store, station as subject, pan_id
from station_now
where pan_id >= 65534
order by store, subject;
