-- name: channel-busy
-- title: Channel busy with outside signals
-- title.de: Kanal durch fremde Signale belegt
-- severity: fix
-- says: Channel {channel} is busy {busy_estimate:.1%} of the time ({busy_low:.1%} to
--   {busy_high:.1%}; {source:case measured={readings:# reading|# readings} in
--   {visits:# visit|# visits}|inferred=inferred from Wi-Fi}).
-- says.de: Kanal {channel} ist {busy_estimate:.1%} der Zeit belegt ({busy_low:.1%} bis
--   {busy_high:.1%}; {source:case
--   measured={readings:# Messwert|# Messwerte} aus {visits:# Besuch|# Besuchen}|
--   inferred=aus dem WLAN geschlossen}).
-- why: Outside signals held the channel above {cca_threshold_dbm} dBm for more than
--   {busy_share_limit:%} of the time, with a chance of {rule_certainty:%} or more. The station has
--   to wait that long, and repeats what the outside signal spoils.
-- do: Move to a quieter permitted channel (the change plan names it), or find the source and
--   quieten it. Where the interval is wide, scan again on another day.
-- source: IEEE 802.15.4 clear channel assessment; the estimate as in docs/method.md
select s.store, s.station as subject,
    s.channel, e.busy_estimate, e.busy_low, e.busy_high, e.readings, e.visits, e.source
from station_now s
join ed_evidence e on e.store = s.store and e.station = s.station and e.channel = s.channel
where e.busy_estimate is not null
    and chance_above(e.a, e.b, limit_of('busy_share_limit')) >= limit_of('rule_certainty')
order by s.store, subject;
