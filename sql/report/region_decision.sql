-- The changes that wait for a decision, most clear air to gain first.
select n.region, c.store, n.name, c.station, c.from_channel, c.to_channel, c.clear_air_before,
    c.clear_air_after, c.sureness, c.proposed_on, s.state
from change c
join change_state_on((select day from register_day)) s using (change)
join store_now n using (store)
where not c.parking and s.state in ('proposed', 'deferred')
order by n.region, c.clear_air_after - c.clear_air_before desc, c.store, c.station;
