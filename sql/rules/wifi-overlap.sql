-- name: wifi-overlap
-- title: A station's channel lies under a Wi-Fi network
-- severity: watch
-- why: A 20 MHz Wi-Fi network lies over four channels of 2 MHz and is far stronger than a label.
--   Its part within the channel is above {cca_threshold_dbm} dBm here, or its level is not told.
-- do: Prefer a channel between the Wi-Fi channels in use (15, 20, 25 and 26 beside Wi-Fi 1, 6 and
--   11), or agree other Wi-Fi channels with whoever runs that network.
-- source: IEEE 802.15.4-2006 Annex E.3; IEEE 802.11 channel centres.
with loud as (
    select s.store, s.station, s.channel, w.network, w.wifi_channel,
        max(w.level_dbm) as level_dbm, max(w.in_channel_dbm) as in_channel_dbm
    from station_now s
    join wifi_cover w on w.store = s.store and w.channel = s.channel
        and coalesce(w.station, s.station) = s.station
    where w.in_channel_dbm is null
        or w.in_channel_dbm > (select value from setting where name = 'cca_threshold_dbm')
    group by s.store, s.station, s.channel, w.network, w.wifi_channel
)
select store, station as subject,
    format('Channel {} lies under {}: {}.', channel, counted(count(*), 'Wi-Fi network'),
        named(list(format('{} on Wi-Fi channel {}{}', network, wifi_channel,
                coalesce(format(' at {:.0f} dBm', level_dbm), ', level not told'))
            order by level_dbm desc nulls last, network, wifi_channel))) as detail,
    channel, count(*) as networks, max(in_channel_dbm) as loudest_dbm
from loud
group by store, station, channel
order by store, subject;
