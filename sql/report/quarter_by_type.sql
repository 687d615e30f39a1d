-- Stations audited and stations nobody approved the state of, by store type, the worst rate first.
-- A station that has gone is among both, though no export lists it any more.
with astray as (
    select store, count(distinct subject) as astray,
        count(distinct subject) filter (kind = 'gone') as gone
    from unapproved
    where quarter = $quarter group by store
), types as (
    select s.store_type, sum(s.stations + coalesce(a.gone, 0))::bigint as stations,
        coalesce(sum(a.astray), 0)::bigint as astray
    from audit_store s left join astray a using (store)
    where s.quarter = $quarter and s.exports > 0
    group by s.store_type
)
select store_type, stations, astray from types
order by astray / greatest(1, stations) desc, store_type;
