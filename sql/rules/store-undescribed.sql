-- name: store-undescribed
-- title: Store missing from the stores export
-- title.de: Filiale fehlt im Filialexport
-- severity: watch
-- says: Named by the stations export of {seen_on:day} ({stations:# station|# stations}) but by no
--   stores export.
-- says.de: Der Stationsexport vom {seen_on:day} nennt sie ({stations:# Station|# Stationen}), ein
--   Filialexport nicht.
-- why: The store is known only from other exports: region, country, time zone and trading hours are
--   missing, so it is in no region's review and its scans cannot be told day from night.
-- do: Add the store to the stores export, or correct its name where it is spelt differently.
-- source: common practice, no published source
select t.store, 'store' as subject, t.last_seen_on as seen_on, count(s.station) as stations
from store_now t
join station_now s on s.store = t.store
where t.described_on is null
group by t.store, t.last_seen_on
order by t.store, subject;
