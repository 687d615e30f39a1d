-- name: labels-lone
-- title: Too many labels hear only one station
-- title.de: Zu viele Schilder hören nur eine Station
-- severity: watch
-- says: {lone_labels} of {labels:# label|# labels} ({share:.1%}) {lone_labels:hears|hear} this
--   station only.
-- says.de: {lone_labels} von {labels:# Schild|# Schildern} ({share:.1%}) {lone_labels:hört|hören}
--   nur diese Station.
-- why: A label that hears only one station has nothing to fall back on when that station is off or
--   changes its channel. Up to {lone_label_share_limit:%} of a station's labels may.
-- do: Change this station's channel only while the store is closed; close the gap with a station
--   in between.
-- source: common practice, no published source
select store, station as subject, lone_labels, labels, lone_labels / labels as share
from station_load
where lone_labels > labels * limit_of('lone_label_share_limit')
order by store, subject;
