-- Keep the moves of the current plan.
insert into move
select store, station, from_channel, to_channel, position, parking,
    round(clear_air_before, 6), round(clear_air_after, 6), reason, facts
from incoming order by store, position;
