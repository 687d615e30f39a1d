-- name: labels-weak
-- title: Too many of a station's labels hear it weakly
-- severity: fix
-- why: A label that hears its station below {weak_label_dbm} dBm needs repeats for every update and
--   drops out when a shelf is filled. Up to {weak_label_share_limit:%} of a station's labels may.
-- do: Check antenna and mounting, raise the power within the limit, or add a station near them.
-- source: common practice, no published source
select store, station as subject,
    format('{} of {} ({}) hear it weakly.', weak_labels, counted(labels, 'label'),
        percent(weak_labels / labels)) as detail,
    labels, weak_labels
from station_load
where weak_labels > labels * (select value from setting where name = 'weak_label_share_limit')
order by store, subject;
