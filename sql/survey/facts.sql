-- What is known of each store, folded to a figure a table: facts are sets, so the order in which
-- they came does not count.
select store, 'ed_reading' as kind, count(*) as rows, bit_xor(hash(f)) as content
from ed_reading f group by store
union all
select store, 'heard_seen' as kind, count(*) as rows, bit_xor(hash(f)) as content
from heard_seen f group by store
union all
select store, 'label_seen' as kind, count(*) as rows, bit_xor(hash(f)) as content
from label_seen f group by store
union all
select store, 'station_seen' as kind, count(*) as rows, bit_xor(hash(f)) as content
from station_seen f group by store
union all
select store, 'store_seen' as kind, count(*) as rows, bit_xor(hash(f)) as content
from store_seen f group by store
union all
select store, 'wifi_seen' as kind, count(*) as rows, bit_xor(hash(f)) as content
from wifi_seen f group by store
order by store, kind;
