-- The current schedule.
select store, region, night, starts_at, ends_at, team, wave, provisional,
    first_position, last_position
from change_schedule order by store, night;
