-- name: channel-busy
-- title: Channel busy with outside signals
-- title.de: Kanal durch fremde Signale belegt
-- severity: fix
-- says: Channel {channel} is busy up to {busy_bound:.1%} of the time ({basis}).
-- says.de: Kanal {channel} ist bis zu {busy_bound:.1%} der Zeit belegt ({source:case
--   measured={readings:# Messwert|# Messwerte}|inferred=aus dem WLAN geschlossen}).
-- why: Outside signals held the channel above {cca_threshold_dbm} dBm for more than
--   {busy_share_limit:%} of the time (upper bound of what the readings allow). The station has to
--   wait that long, and repeats what the outside signal spoils.
-- do: Move to a quieter permitted channel (the change plan names it), or find the source and
--   quieten it. Where the bound is far above the measured share there are too few readings: scan
--   again.
-- source: IEEE 802.15.4 clear channel assessment; Wilson score interval for the bound.
select s.store, s.station as subject,
    s.channel, e.busy_share, e.busy_bound, e.readings, e.source, e.basis
from station_now s
join ed_evidence e on e.store = s.store and e.station = s.station and e.channel = s.channel
where e.source <> 'absent' and e.busy_bound > limit_of('busy_share_limit')
order by s.store, subject;
