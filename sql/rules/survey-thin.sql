-- name: survey-thin
-- title: A station has too few energy readings
-- severity: watch
-- why: Below {readings_minimum} readings a channel a share of busy air is a guess; a lucky short
--   scan looks better than the air is. The plan takes the upper bound, so thin channels lose.
-- do: Scan longer or more often, also in trading hours.
-- source: Wilson score interval; the number is common practice, no published source
select e.store, e.station as subject,
    format('Fewer than {:.0f} readings on {}: {}.', x.value, counted(count(*), 'channel'),
        string_agg(format('{} ({})', e.channel, e.readings), ', ' order by e.channel)) as detail,
    count(*) as channels, min(e.readings) as fewest
from ed_evidence e
join permitted_channel p on p.store = e.store and p.channel = e.channel
join setting x on x.name = 'readings_minimum'
where e.source = 'measured' and e.readings < x.value
group by e.store, e.station, x.value
order by e.store, subject;
