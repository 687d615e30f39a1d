-- Take the file's good rows into the set; a row that is there already, or twice in the file, once.
insert into heard_seen
select store, station, neighbour, seen_on, level_dbm
from cleaned where good
except
select * from heard_seen where seen_on in (select distinct seen_on from cleaned where good);
