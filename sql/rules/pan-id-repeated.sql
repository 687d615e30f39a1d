-- name: pan-id-repeated
-- title: Stations in earshot share a PAN ID
-- title.de: Stationen in Hörweite mit gleicher PAN-ID
-- severity: fix
-- says: PAN ID {pan_id:hex} is also used by {neighbours:# station|# stations} in earshot:
--   {neighbours:each {neighbour} on channel {channel:case null=?|else={channel}}}.
-- says.de: Die PAN-ID {pan_id:hex} {neighbours:hat auch # Station|haben auch # Stationen} in
--   Hörweite: {neighbours:each {neighbour} auf Kanal {channel:case null=?|else={channel}}}.
-- why: A label tells networks apart by PAN ID. Two stations in earshot with one PAN ID answer for
--   each other's labels, and a label may settle with a station that does not know it.
-- do: Give each station in earshot a PAN ID of its own. Where your system puts one PAN ID on a
--   whole store on purpose, set this rule's severity to note in the rules file.
-- source: IEEE 802.15.4 PAN ID conflict. In earshot: chance of at least {earshot_probability}.
select store, station as subject, pan_id,
    list({'neighbour': neighbour, 'channel': neighbour_channel}
        order by heard_dbm desc, neighbour) as neighbours
from in_earshot
where pan_id = neighbour_pan_id
group by store, station, pan_id
order by store, subject;
