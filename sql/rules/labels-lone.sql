-- name: labels-lone
-- title: Too many of a station's labels hear no other station
-- severity: watch
-- why: A label that hears one station only has nothing to fall back on when that station is off or
--   changes its channel. Up to {lone_label_share_limit:%} of a station's labels may.
-- do: Change this station's channel only while the store is closed; close the gap with a station
--   in between.
-- source: common practice, no published source
select store, station as subject,
    format('{} of {} ({}) hear this station only.', lone_labels, counted(labels, 'label'),
        percent(lone_labels / labels)) as detail,
    labels, lone_labels
from station_load
where lone_labels > labels * (select value from setting where name = 'lone_label_share_limit')
order by store, subject;
