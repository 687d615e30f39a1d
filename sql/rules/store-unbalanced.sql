-- name: store-unbalanced
-- title: Labels crowd on one station
-- title.de: Schilder drängen sich an einer Station
-- severity: watch
-- says: Serves {labels:# label|# labels}, {ratio:.1f} times the store's mean of {mean_labels:.1f}.
-- says.de: Versorgt {labels:# Schild|# Schilder}, das {ratio:.1f}-Fache des Mittels der Filiale von
--   {mean_labels:.1f}.
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
select store, station as subject, labels, mean_labels, labels / mean_labels as ratio
from loaded
where labels > mean_labels * limit_of('unbalanced_ratio')
order by store, subject;
