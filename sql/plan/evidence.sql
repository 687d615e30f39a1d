-- The evidence of every station and channel, as the plan reckons with it.
select store, station, channel, busy_bound, coalesce(busy_share, busy_bound) as share, worth, readings, own_traffic, source,
    wifi
from ed_evidence semi join due_store using (store)
order by store, station, channel;
