-- name: station-overloaded
-- title: A station serves too many labels
-- severity: fix
-- why: Above {labels_per_station_limit} labels a station needs longer for a price change than the
--   store has, and its loss would strand as many labels.
-- do: Move labels to a neighbour or add a station; the load sheet of the change plan shows room.
-- source: common practice, no published source
select l.store, l.station as subject,
    format('Serves {}, {:.0f} over the limit of {:.0f}; it transmits {} of the time.',
        counted(l.labels, 'label'), l.labels - x.value, x.value, percent(l.air_share)) as detail,
    l.labels, l.air_share
from station_load l, setting x
where x.name = 'labels_per_station_limit' and l.labels > x.value
order by l.store, subject;
