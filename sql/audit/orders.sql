-- The changes of the register with what became of each up to the end of $last, in that order.
-- Times are on the store's own clock, so a day here is a day of the store's own calendar.
select c.store, c.change, c.plan, c.station, c.to_channel::varchar as to_channel, c.parking,
    e.at::date as day, e.state, e.by
from change c join change_event e using (change)
where e.at < $last + interval 1 day and ($store is null or c.store = $store)
order by c.store, c.proposed_on, c.plan, c.position, c.change, e.seq;
