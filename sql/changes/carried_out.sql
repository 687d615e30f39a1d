-- The changes of a store that are carried out and not undone, the last one first, with the channel
-- the last export found the station on where that is known.
with carried as (
    select change, max(seq) as seq from change_event where state = 'implemented' group by change
)
select c.store, c.change, c.plan, c.station, c.from_channel, c.to_channel,
    (select max_by(k.channel_found, k.seq) from change_check k where k.change = c.change) as found
from change c
join change_state_on($day) s using (change)
join carried e using (change)
where c.store = $store and s.state in ('implemented', 'verified', 'ineffective')
    and ($plan is null or c.plan = $plan)
order by e.seq desc;
