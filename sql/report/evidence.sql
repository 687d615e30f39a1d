-- How busy the air is at each station on each channel, with where the figure comes from.
select store, station, channel, readings, worth, busy_share, busy_bound, mean_dbm,
    p50_dbm, p90_dbm, p99_dbm, own_traffic, source, newest_at, basis
from ed_evidence
where store in (select store from due_store)
order by store, station, channel;
