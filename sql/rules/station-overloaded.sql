-- name: station-overloaded
-- title: Station serves too many labels
-- title.de: Station versorgt zu viele Schilder
-- severity: fix
-- says: Serves {labels:# label|# labels}, {over:.0f} over the limit of {label_limit:.0f}; it
--   transmits {air_share:.1%} of the time.
-- says.de: Versorgt {labels:# Schild|# Schilder}, {over:.0f} über dem Grenzwert von
--   {label_limit:.0f}; sie sendet {air_share:.1%} der Zeit.
-- why: Above {labels_per_station_limit} labels a station needs longer for a price change than the
--   store has, and its loss would strand as many labels.
-- do: Move labels to a neighbour or add a station; the plan's sheet Stations shows room.
-- source: common practice, no published source
select store, station as subject, labels, limit_of('labels_per_station_limit') as label_limit,
    labels - limit_of('labels_per_station_limit') as over, air_share
from station_load
where labels > limit_of('labels_per_station_limit')
order by store, subject;
