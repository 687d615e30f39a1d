-- The channel changes of each store, in the order they are made.
select store, position, station, from_channel, to_channel, parking,
    clear_air_before, clear_air_after, reason, facts
from move
where store in (select store from due_store)
order by store, position, station;
