-- name: labels-silent
-- title: Too many labels have gone silent
-- title.de: Zu viele Schilder sind verstummt
-- severity: fix
-- says: {silent_labels} of {labels:# label|# labels} ({share:.1%}) {silent_labels:has|have} gone
--   silent.
-- says.de: {silent_labels} von {labels:# Schild|# Schildern} ({share:.1%}) {silent_labels:ist|sind}
--   verstummt.
-- why: A label not heard for more than {silent_after_days} days shows an old price. Up to
--   {silent_label_share_limit:%} of a station's labels may be lost, broken or in a drawer.
-- do: Walk the shelves of this station. Where whole shelves are silent, look at the station first;
--   where single labels are, check their batteries.
-- source: common practice, no published source
select store, station as subject, silent_labels, labels, silent_labels / labels as share
from station_load
where silent_labels > labels * limit_of('silent_label_share_limit')
order by store, subject;
