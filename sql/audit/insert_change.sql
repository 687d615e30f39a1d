-- The state of every change at the end of each quarter, parking steps left out.
insert into audit_change
with quarters as (select quarter, first, last from incoming), standing as (
    select q.quarter, q.first, c.store, e.state, e.at
    from change_event e
    join change c using (change)
    join quarters q on e.at < q.last + interval 1 day
    where not c.parking
    qualify row_number() over (partition by q.quarter, e.change order by e.seq desc) = 1
)
select c.quarter, coalesce(s.region, 'no region') as region, c.state, count(*),
    count(*) filter (c.at >= c.first)
from standing c
left join audit_store s on s.quarter = c.quarter and s.store = c.store
group by c.quarter, region, c.state
order by c.quarter, region, c.state;
