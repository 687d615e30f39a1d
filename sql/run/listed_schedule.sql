-- The schedule, night by night.
select region, night, store, starts_local, ends_local, team, wave,
    if(provisional, 'provisional', 'firm') as firmness, moves
from change_schedule order by night, region, starts_at, store;
