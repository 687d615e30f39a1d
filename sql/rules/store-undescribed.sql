-- name: store-undescribed
-- title: No stores export describes a store
-- severity: watch
-- why: The store is known from other exports only: region, country, time zone and trading hours are
--   missing, so it is in no region's review and its scans cannot be told day from night.
-- do: Add the store to the stores export, or correct its name where it is spelt differently.
-- source: common practice, no published source
select t.store, 'store' as subject,
    format('Named by the stations export of {} ({}) but by no stores export.',
        strftime(t.last_seen_on, '%Y-%m-%d'), counted(count(s.station), 'station')) as detail,
    count(s.station) as stations
from store_now t
join station_now s on s.store = t.store
where t.described_on is null
group by t.store, t.last_seen_on
order by t.store, subject;
