-- Who disturbs whom.
select store, station, neighbour, heard_dbm, spread_db, source, hit_co, hit_adjacent, hit_alternate
from earshot semi join due_store using (store)
order by store, station, neighbour;
