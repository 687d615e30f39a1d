-- name: pan-id-reserved
-- title: A station carries a reserved PAN ID
-- severity: fix
-- why: 0xffff means every network at once, or that a device belongs to none. 0xfffe is the
--   marker for "no short address"; some radios refuse it as a PAN ID.
-- do: Give the station a PAN ID from 0x0001 to 0xfffd that no station in earshot uses.
-- source: IEEE 802.15.4 macPANId (0xffff); site rule for 0xfffe.
select store, station as subject,
    format('PAN ID {:#06x} is reserved.', pan_id) as detail,
    pan_id
from station_now
where pan_id >= 65534
order by store, subject;
