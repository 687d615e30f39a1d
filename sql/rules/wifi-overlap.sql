-- name: wifi-overlap
-- title: Channel lies under a Wi-Fi network
-- title.de: Kanal liegt unter einem WLAN
-- severity: watch
-- says: Channel {channel} lies under {networks:# Wi-Fi network|# Wi-Fi networks}: {networks:each
--   {network} on Wi-Fi channel {wifi_channel}{level_dbm:case null=, level not stated|else= at
--   {level_dbm:.0f} dBm}}.
-- says.de: Kanal {channel} liegt unter {networks:# WLAN|# WLANs}: {networks:each {network} auf
--   WLAN-Kanal {wifi_channel}{level_dbm:case null=, Pegel unbekannt|else= mit {level_dbm:.0f}
--   dBm}}.
-- why: A 20 MHz Wi-Fi network covers four channels of 2 MHz and is far stronger than a label.
--   Its part within the channel is above {cca_threshold_dbm} dBm here, or its level is not stated.
-- do: Prefer a channel between the Wi-Fi channels in use (15, 20, 25 and 26 beside Wi-Fi 1, 6 and
--   11), or agree other Wi-Fi channels with whoever runs that network.
-- source: IEEE 802.15.4-2006 Annex E.3; IEEE 802.11 channel centres.
with loud as (
    select s.store, s.station, s.channel, w.network, w.wifi_channel,
        max(w.level_dbm) as level_dbm
    from station_now s
    join wifi_cover w on w.store = s.store and w.channel = s.channel
        and coalesce(w.station, s.station) = s.station
    where w.in_channel_dbm is null or w.in_channel_dbm > limit_of('cca_threshold_dbm')
    group by s.store, s.station, s.channel, w.network, w.wifi_channel
)
select store, station as subject, channel,
    list({'network': network, 'wifi_channel': wifi_channel, 'level_dbm': level_dbm}
        order by level_dbm desc nulls last, network, wifi_channel) as networks
from loud
group by store, station, channel
order by store, subject;
