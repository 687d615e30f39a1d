-- Promised against measured: the last check within each quarter of each change that was measured.
insert into audit_promise
with quarters as (select quarter, first, last from incoming), judged as (
    select q.quarter, k.*
    from change_check k join quarters q on k.checked_on between q.first and q.last
    where k.measured is not null
    qualify row_number() over (partition by q.quarter, k.change order by k.seq desc) = 1
)
select j.quarter, coalesce(s.region, 'no region'), j.sureness, c.store, c.station, j.change,
    j.clear_air_before, j.promised, j.measured, j.readings, j.checked_on
from judged j
join change c using (change)
left join audit_store s on s.quarter = j.quarter and s.store = c.store
where not c.parking
order by j.quarter, c.store, c.station, j.change;
