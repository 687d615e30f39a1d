-- name: wifi-upper-channels
-- title: Wi-Fi 12 or 13 is in use where channel 25 or 26 is relied on
-- severity: watch
-- why: Channels 25 and 26 are the usual refuge because Wi-Fi 1, 6 and 11 leave them free. Wi-Fi 12
--   lies over 22 to 25, Wi-Fi 13 over 23 to 26, Wi-Fi 14 over 25 and 26, the upper half of a 40 MHz
--   network over both: then they are no refuge.
-- do: Ask whoever runs the Wi-Fi network to use 1, 6 or 11; else take the channel off the permitted
--   ones of this store.
-- source: IEEE 802.15.4-2006 Annex E.3; IEEE 802.11 channel centres.
with using_it as (
    select store, channel, count(*) as stations from station_now group by store, channel
)
select w.store, format('channel {}', w.channel) as subject,
    format('Channel {} ({}, {} on it) lies under {}.', w.channel,
        case when any_value(p.channel) is null then 'not permitted' else 'permitted' end,
        counted(coalesce(any_value(u.stations), 0), 'station'),
        named(list(distinct format('{} on Wi-Fi channel {}', w.network, w.wifi_channel))
            .list_sort())) as detail,
    coalesce(any_value(u.stations), 0) as stations, count(distinct w.network) as networks
from wifi_cover w
left join using_it u on u.store = w.store and u.channel = w.channel
left join permitted_channel p on p.store = w.store and p.channel = w.channel
where w.channel >= 25 and (u.stations is not null or p.channel is not null)
group by w.store, w.channel
order by w.store, subject;
