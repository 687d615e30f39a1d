-- The changes of some plans as proposed, with where each stands.
select c.change, c.plan, c.store, c.station, c.from_channel, c.to_channel, c.position, c.parking,
    c.clear_air_before, c.clear_air_after, c.labels, c.sureness, c.proposed_by, c.proposed_on,
    s.state, s.at
from change c join change_state_on(date '9999-12-30') s using (change)
where c.plan in (select unnest($plans))
order by c.plan, c.position;
