-- Pairs of stations in earshot, each once: the stronger of the two directions counts.
select store, least(station, neighbour) as station, greatest(station, neighbour) as neighbour,
    max(hit_co) as hit, max(heard_dbm) as heard_dbm
from earshot
where store in (select store from due_store)
group by all
having max(hit_co) >= (select value from setting where name = 'earshot_probability')
order by 1, 2, 3;
