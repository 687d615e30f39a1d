-- Keep who hears whom.
insert into earshot
select store, station, neighbour, heard_dbm, spread_db, source, distance_m,
    hit_co, hit_adjacent, hit_alternate
from incoming
order by store, station, neighbour;
