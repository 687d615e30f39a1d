-- name: labels-silent
-- title: Too many of a station's labels have gone silent
-- severity: fix
-- why: A label not heard for more than {silent_after_days} days shows an old price. Up to
--   {silent_label_share_limit:%} of a station's labels may be lost, broken or in a drawer.
-- do: Walk the shelves of this station; where whole shelves are silent look at the station first,
--   where single ones are, at their batteries.
-- source: common practice, no published source
select store, station as subject,
    format('{} of {} ({}) have gone silent.', silent_labels, counted(labels, 'label'),
        percent(silent_labels / labels)) as detail,
    labels, silent_labels
from station_load
where silent_labels > labels * (select value from setting where name = 'silent_label_share_limit')
order by store, subject;
