-- name: channel-shared
-- title: Stations in earshot share a channel
-- title.de: Stationen in Hörweite teilen sich einen Kanal
-- severity: fix
-- says: Shares channel {channel} with {neighbours:# station|# stations} in earshot:
--   {neighbours:each {neighbour} heard at {heard_dbm:.0f} dBm ({source})}.
-- says.de: Teilt sich Kanal {channel} mit {neighbours:# Station|# Stationen} in Hörweite:
--   {neighbours:each {neighbour} mit {heard_dbm:.0f} dBm ({source:case
--   measured=gemessen|fitted=angepasst|modelled=berechnet})}.
-- why: A station defers to every signal it hears above the clear-channel threshold. Two that hear
--   each other on one channel wait for each other, and their labels for both. In earshot means a
--   chance of at least {earshot_probability} of being heard above {cca_threshold_dbm} dBm.
-- do: Move one of them to a permitted channel that no neighbour in earshot uses; the change plan
--   says which. Where stations outnumber channels, let the pairs with the lowest levels share.
-- source: IEEE 802.15.4 clear channel assessment; co-channel rejection 0 dB.
select store, station as subject, channel,
    list({'neighbour': neighbour, 'heard_dbm': heard_dbm, 'source': source}
        order by heard_dbm desc, neighbour) as neighbours
from in_earshot
where channels_apart = 0
group by store, station, channel
order by store, subject;
