-- What was agreed up to $last, in the order it was approved.
select store, version, station, field, value, approved_by, approved_on, reason, change
from baseline
where approved_on <= $last and ($store is null or store = $store)
order by store, approved_on, version, station, field;
