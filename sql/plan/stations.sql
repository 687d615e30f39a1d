-- Every station of today with what the plan needs of it. `locked` holds where an approved exception
-- to channel-not-permitted keeps it on its channel.
select n.store, n.station, n.channel, l.weight, l.air_share,
    exists (
        select 1 from exception x, this_run r
        where x.rule = 'channel-not-permitted' and x.until >= r.as_of
            and x.store in ('*', n.store) and x.subject in ('*', n.station)
    ) as locked
from station_now n semi join due_store using (store)
join station_load l on l.store = n.store and l.station = n.station
where n.channel is not null
order by n.store, n.station;
