-- Keep the nights of the current schedule.
insert into change_schedule
select store, region, night, starts_at, ends_at, starts_local, ends_local, team, wave, provisional,
    moves, first_position, last_position
from incoming order by store, night;
