-- name: channel-busy
-- title: A station's channel is busy with foreign signals
-- severity: fix
-- why: Foreign signals held the channel above {cca_threshold_dbm} dBm for more than
--   {busy_share_limit:%} of the time (upper bound of what the readings allow). The station has to
--   wait that long, and repeats what the foreign signal spoils.
-- do: Move to a quieter permitted channel (the change plan names it), or find the source and
--   quieten it. Scan again where the bound is far above the share: too few readings.
-- source: IEEE 802.15.4 clear channel assessment; Wilson score interval for the bound.
select s.store, s.station as subject,
    format('Channel {} is busy up to {} of the time ({}).', s.channel, percent(e.busy_bound),
        e.basis) as detail,
    s.channel, e.busy_share, e.busy_bound, e.readings
from station_now s
join ed_evidence e on e.store = s.store and e.station = s.station and e.channel = s.channel
where e.source <> 'absent'
    and e.busy_bound > (select value from setting where name = 'busy_share_limit')
order by s.store, subject;
