-- Clear air of the stations of a store as runs up to $last noted it, the oldest first.
select station, as_of, channel, clear_air
from clear_air_kept
where store = $store and as_of <= $last
order by station, as_of, rowid;
