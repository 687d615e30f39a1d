-- Clear air before, promised and measured of every change that was measured, as judged last.
with judged as (
    select k.* from change_check k
    where k.measured is not null and k.checked_on <= (select as_of from this_run)
    qualify row_number() over (partition by k.change order by k.seq desc) = 1
)
select n.region, c.store, c.station, k.clear_air_before, k.promised, k.measured
from judged k
join change c using (change)
join store_now n using (store)
where not c.parking
order by n.region, c.store, c.station, k.seq;
