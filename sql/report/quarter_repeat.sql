-- Stores in which something went astray in two or more of the last four quarters.
with recent as (
    select distinct quarter from audit_store where quarter <= $quarter
    order by quarter desc limit 4
)
select u.store, s.name, s.region, count(distinct u.quarter) as quarters, count(*) as departures
from unapproved u
join recent r using (quarter)
join audit_store s on s.quarter = $quarter and s.store = u.store
where u.begun
group by u.store, s.name, s.region
having count(distinct u.quarter) > 1
order by quarters desc, departures desc, u.store;
