-- Add proposed changes to the register.
insert into change
select change, plan, store, station, from_channel, to_channel, position, parking,
    clear_air_before, clear_air_after, labels, sureness, proposed_by, proposed_on
from incoming order by store, position;
