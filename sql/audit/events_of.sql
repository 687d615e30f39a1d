-- What became of every change of a store's stations up to the end of $last, the oldest first.
select c.station, e.at::date as day, c.change, c.from_channel, c.to_channel, c.parking, e.state,
    e.by, e.note
from change c join change_event e using (change)
where c.store = $store and e.at < $last + interval 1 day
order by c.station, e.at, e.seq;
