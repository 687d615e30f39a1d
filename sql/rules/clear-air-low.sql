-- name: clear-air-low
-- title: Too little clear air
-- title.de: Zu wenig freie Luft
-- severity: fix
-- says: Finds channel {channel} free {clear_air:.1%} of the time (at most {clear_air_high:.1%}),
--   below the target of {target:.1%}; outside signals take {busy_estimate:.1%}.
-- says.de: Findet Kanal {channel} nur {clear_air:.1%} der Zeit frei (höchstens
--   {clear_air_high:.1%}); das Ziel sind {target:.1%}. Fremde Signale belegen ihn
--   {busy_estimate:.1%} der Zeit.
-- why: Outside signals and own stations together leave less than {clear_air_target:%} of the time
--   free, with a chance of {rule_certainty:%} or more. Updates queue up and batteries drain on
--   repeats.
-- do: Follow the change plan; where it gains little, lower the load or add a channel.
-- source: IEEE 802.15.4 CSMA-CA; the target is common practice, no published source
select n.store, n.station as subject, n.channel, n.clear_air, n.clear_air_high, n.busy_estimate,
    limit_of('clear_air_target') as target
from clear_air_now n
join ed_evidence e using (store, station, channel)
where n.clear_air is not null
    and chance_above(e.a, e.b, 1 - limit_of('clear_air_target') / n.free_of_own)
        >= limit_of('rule_certainty')
order by n.store, subject;
