-- Keep the wave of every store that has a night for certain and was in no wave before.
insert into wave_taken
select s.store, any_value(s.wave), any_value(r.as_of)
from change_schedule s, this_run r
where not s.provisional
    and s.store not in (select store from wave_taken where wave = s.wave)
group by s.store
order by s.store;
