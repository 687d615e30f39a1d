-- name: store-unbalanced
-- title: A store's labels crowd on one station
-- severity: watch
-- why: The fullest station serves more than {unbalanced_ratio} times the store's mean. It is the
--   bottleneck of every price change while others idle, often because a neighbour is weak or off.
-- do: Find out why labels prefer it (a neighbour offline, hidden or at low power) and even it out.
-- source: common practice, no published source
with loaded as (
    select s.store, s.station, coalesce(l.labels, 0) as labels,
        avg(coalesce(l.labels, 0)) over (partition by s.store) as mean_labels
    from station_now s
    left join station_load l on l.store = s.store and l.station = s.station
)
select store, station as subject,
    format('Serves {}, {:.1f} times the store''s mean of {:.1f}.', counted(labels, 'label'),
        labels / mean_labels, mean_labels) as detail,
    labels, round(mean_labels, 3) as mean_labels
from loaded
where labels > mean_labels * (select value from setting where name = 'unbalanced_ratio')
order by store, subject;
