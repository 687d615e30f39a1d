-- Stations audited and stations nobody approved the state of, by store type, the worst rate first.
with astray as (
    select store, count(distinct subject) as astray from unapproved
    where quarter = $quarter group by store
), types as (
    select s.store_type, sum(s.stations)::bigint as stations,
        coalesce(sum(a.astray), 0)::bigint as astray
    from audit_store s left join astray a using (store)
    where s.quarter = $quarter and s.exports > 0
    group by s.store_type
)
select store_type, stations, astray from types
order by astray / greatest(1, stations) desc, store_type;
