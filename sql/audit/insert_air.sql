-- Clear air of each region at the end of each quarter that had a run: the figure noted last of every
-- station that the store's latest export lists.
insert into audit_air
with quarters as (
    select i.quarter, i.first, i.last from incoming i
    where exists (from run r where r.as_of between i.first and i.last)
), noted as (
    select q.quarter, k.store, k.station, max_by(k.clear_air, k.rowid) as clear_air,
        greatest(1, max_by(k.labels, k.rowid)) as labels
    from clear_air_kept k join quarters q on k.as_of <= q.last
    group by q.quarter, k.store, k.station
)
select n.quarter, s.region, count(*), sum(n.labels),
    round(fsum(n.clear_air * n.labels) / sum(n.labels), 6)
from noted n
join audit_store s using (quarter, store)
where exists (
    from station_seen l
    where l.store = n.store and l.station = n.station and l.seen_on = s.last_export)
group by n.quarter, s.region
order by n.quarter, s.region;
