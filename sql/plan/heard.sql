-- Who disturbs whom.
select store, station, neighbour, heard_dbm, source, hit_co, hit_adjacent, hit_alternate
from earshot
order by store, station, neighbour;
