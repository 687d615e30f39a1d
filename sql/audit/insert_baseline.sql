-- Add a version to the baseline of each store.
insert into baseline
select version, store, station, field, value, approved_by, approved_on, reason, change
from incoming
order by store, version, station, field;
