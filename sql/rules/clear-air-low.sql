-- name: clear-air-low
-- title: A station finds its channel free too rarely
-- severity: fix
-- why: Foreign signals and own neighbours together leave less than {clear_air_target:%} of the time
--   free. Updates queue up and batteries drain on repeats.
-- do: Follow the change plan; where it gains little, lower the load or add a channel.
-- source: IEEE 802.15.4 CSMA-CA; the target is common practice, no published source
select c.store, c.station as subject,
    format('Finds channel {} free {} of the time, below the target of {}; foreign signals take {}.',
        c.channel, percent(c.clear_air), percent(x.value), percent(c.busy_bound)) as detail,
    c.channel, c.clear_air, c.busy_bound
from clear_air_now c, setting x
where x.name = 'clear_air_target' and c.clear_air < x.value
order by c.store, subject;
