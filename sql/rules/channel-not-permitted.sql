-- name: channel-not-permitted
-- title: Channel not permitted by the rules
-- title.de: Kanal nach den Regeln nicht erlaubt
-- severity: fix
-- says: On channel {channel}; the rules permit {permitted:all} here.
-- says.de: Auf Kanal {channel}; die Regeln erlauben hier {permitted:all}.
-- why: The permitted channels are those agreed for the site, so that neighbours, Wi-Fi and labels
--   can rely on them. A channel outside 11 to 26 does not exist in the 2.4 GHz band.
-- do: Move the station to a permitted channel, or record an approved exception with an end date.
-- source: The rules file, [channels]; IEEE 802.15.4 for channels 11 to 26.
with permitted as (
    select store, list(channel order by channel) as channels from permitted_channel group by store
)
select s.store, s.station as subject, s.channel, p.channels as permitted
from station_now s
join permitted p on p.store = s.store
where not list_contains(p.channels, s.channel)
order by s.store, subject;
