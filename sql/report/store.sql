-- What the summary's head says of each store.
select s.store, s.name, s.region, s.country, s.store_type, s.time_zone, s.last_seen_on,
    u.reason as unplanned
from store_now s left join unplanned_store u using (store)
where s.store in (select store from due_store)
order by s.store;
