-- name: this_run
-- The run the database speaks of.
select run, as_of from this_run;

-- name: last_seq
-- The number of the last event; 0 before the first.
select coalesce(max(seq), 0) from change_event;

-- name: last_plan
-- The number of the last plan; 0 before the first.
select coalesce(max(number), 0) from change_plan;

-- name: events
-- Every event of the register, oldest first.
select * from change_event order by seq;

-- name: events_of
-- The events of the changes of some plans, by change, oldest first.
select e.* from change_event e join change c using (change)
where c.plan in (select unnest($plans))
order by e.change, e.seq;

-- name: standings
-- Where every change stands.
select change, state, "at" from change_state_on(date '9999-12-30') order by change;

-- name: changes_of
-- The changes of some plans as proposed.
select * from change where plan in (select unnest($plans)) order by plan, position;

-- name: plans_on_file
-- Every plan of the register, and the one that superseded it.
select p.plan, p.store, p.proposed_on, p.choices, n.plan as superseded_by, n.proposed_on as superseded_on
from change_plan p left join change_plan n on n.supersedes = p.plan
order by p.number;

-- name: carried_out
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
order by e.seq desc;

-- name: orders
-- The changes whose last approval orders another channel than proposed.
select change, channel, promised, promised_low, promised_high
from change_event where state = 'approved'
qualify row_number() over (partition by change order by seq desc) = 1 and channel is not null
order by change;

-- name: deaf_labels
-- How many labels of some stores do not listen on a channel; those that name no channels are left
-- out.
select t.store, c.channel, sum(t.labels)::bigint as labels
from store_listens t cross join (select unnest(range(11, 27)) as channel) c
where t.store in (select unnest($stores))
    and not list_contains(string_split(t.channels, ' '), c.channel::varchar)
group by t.store, c.channel order by t.store, c.channel;

-- name: asked
-- What an audit asks and the latest one still does: every departure with a cause.
select d.cause, d.store, d.subject, d.field, d.agreed, d.found,
    max(coalesce(d.first_seen, date '0001-01-01')) over (partition by d.cause) as last_seen,
    coalesce(b.approved_on, date '0001-01-01') as agreed_on, false as settled
from drift d
left join (select store, max(approved_on) as approved_on from baseline group by store) b
    using (store)
where d.cause is not null and exists (
    from drift l
    where l.quarter = (select max(quarter) from drift) and l.cause is not null
        and l.store = d.store and l.subject = d.subject and l.field = d.field
        and l.agreed is not distinct from d.agreed and l.found is not distinct from d.found)
order by d.cause, d.store, d.subject, d.field;

-- name: stations_met
-- The stations that exports ever listed, by store.
select distinct store, station from station_seen order by store, station;
