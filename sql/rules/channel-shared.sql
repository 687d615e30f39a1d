-- name: channel-shared
-- title: Stations in earshot share a channel
-- severity: fix
-- why: A station defers to every signal it hears above the clear-channel threshold. Two that hear
--   each other on one channel wait for each other, and their labels for both. In earshot means a
--   chance of at least {earshot_probability} of being heard above {cca_threshold_dbm} dBm.
-- do: Move one of them to a permitted channel that no neighbour in earshot uses; the change plan
--   says which. Where stations outnumber channels, let the pairs with the lowest levels share.
-- source: IEEE 802.15.4 clear channel assessment; co-channel rejection 0 dB.
select store, station as subject,
    format('Shares channel {} with {} in earshot: {}.', channel, counted(count(*), 'station'),
        named(list(format('{} heard at {:.0f} dBm ({})', neighbour, heard_dbm, source)
            order by heard_dbm desc, neighbour))) as detail,
    channel, count(*) as neighbours, max(heard_dbm) as loudest_dbm
from in_earshot
where channels_apart = 0
group by store, station, channel
order by store, subject;
