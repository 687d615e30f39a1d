-- What the summary's head says of each store from $first to $last.
select s.store, s.name, s.region, s.country, s.store_type, s.time_zone, s.last_seen_on,
    u.reason as unplanned
from store_now s left join unplanned_store u using (store)
where s.store between $first and $last
order by s.store;
