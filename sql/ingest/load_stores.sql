-- Take the file's good rows into the set; a row that is there already, or twice in the file, once.
insert into store_seen
select store, seen_on, name, region, country, store_type, time_zone, opens, closes
from cleaned where good
except
select * from store_seen where seen_on in (select distinct seen_on from cleaned where good);
