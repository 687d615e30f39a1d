-- name: labels-weak
-- title: Too many labels hear their station weakly
-- title.de: Zu viele Schilder hören ihre Station nur schwach
-- severity: fix
-- says: {weak_labels} of {labels:# label|# labels} ({share:.1%}) {weak_labels:hears|hear} it
--   weakly.
-- says.de: {weak_labels} von {labels:# Schild|# Schildern} ({share:.1%}) {weak_labels:hört|hören}
--   sie nur schwach.
-- why: A label that hears its station below {weak_label_dbm} dBm needs repeats for every update and
--   drops out when a shelf is filled. Up to {weak_label_share_limit:%} of a station's labels may.
-- do: No channel helps them. Check antenna and mounting, or raise the power within the limit; the
--   sheet Further places says where another station or antenna would reach them, or where to
--   measure.
-- source: common practice, no published source
select store, station as subject, weak_labels, labels, weak_labels / labels as share
from station_load
where weak_labels > labels * limit_of('weak_label_share_limit')
order by store, subject;
