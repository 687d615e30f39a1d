-- name: wifi-upper-channels
-- title: Wi-Fi over channel 25 or 26
-- title.de: WLAN über Kanal 25 oder 26
-- severity: watch
-- says: Channel {channel} ({permitted:case true=permitted|false=not permitted},
--   {stations:# station|# stations} on it) lies under {networks:each {network} on Wi-Fi channel
--   {wifi_channel}}.
-- says.de: Kanal {channel} ({permitted:case true=erlaubt|false=nicht erlaubt},
--   {stations:# Station|# Stationen} darauf) liegt unter {networks:each {network} auf WLAN-Kanal
--   {wifi_channel}}.
-- why: Channels 25 and 26 are the usual refuge because Wi-Fi 1, 6 and 11 leave them free. Wi-Fi 12
--   covers 22 to 25, Wi-Fi 13 covers 23 to 26, Wi-Fi 14 covers 25 and 26, and the upper half of a
--   40 MHz network covers both: then they are no refuge.
-- do: Ask whoever runs the Wi-Fi network to use 1, 6 or 11; else take the channel off the permitted
--   ones of this store.
-- source: IEEE 802.15.4-2006 Annex E.3; IEEE 802.11 channel centres.
with using_it as (
    select store, channel, count(*) as stations from station_now group by store, channel
)
select w.store, format('channel {}', w.channel) as subject, w.channel,
    any_value(p.channel) is not null as permitted,
    coalesce(any_value(u.stations), 0) as stations,
    list(distinct {'network': w.network, 'wifi_channel': w.wifi_channel}).list_sort() as networks
from wifi_cover w
left join using_it u on u.store = w.store and u.channel = w.channel
left join permitted_channel p on p.store = w.store and p.channel = w.channel
where w.channel >= 25 and (u.stations is not null or p.channel is not null)
group by w.store, w.channel
order by w.store, subject;
