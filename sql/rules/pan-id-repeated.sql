-- name: pan-id-repeated
-- title: Stations in earshot carry the same PAN ID
-- severity: fix
-- why: A label tells networks apart by PAN ID. Two stations in earshot with one PAN ID answer for
--   each other's labels, and a label may settle with a station that does not know it.
-- do: Give each station in earshot a PAN ID of its own. Where your system puts one PAN ID on a
--   whole store on purpose, set this rule's severity to note in the rules file.
-- source: IEEE 802.15.4 PAN ID conflict. In earshot: chance of at least {earshot_probability}.
select store, station as subject,
    format('PAN ID {:#06x} is also used by {} in earshot: {}.', pan_id,
        counted(count(*), 'station'),
        named(list(format('{} on channel {}', neighbour, coalesce(neighbour_channel::varchar, '?'))
            order by heard_dbm desc, neighbour))) as detail,
    pan_id, count(*) as neighbours
from in_earshot
where pan_id = neighbour_pan_id
group by store, station, pan_id
order by store, subject;
