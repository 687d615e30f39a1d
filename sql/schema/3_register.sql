-- name: register_day
-- The day up to which this run knows what became of changes: decisions are made after the export
-- they rest on, so a run on the newest export knows every event; one that looks back, only those
-- up to its own day.
create or replace view register_day as
select case when r.as_of < (select max(seen_on) from station_seen) then r.as_of
    else date '9999-12-30' end as day
from this_run r;

-- name: plan_in_force
-- The plan in force of every store: the last one registered.
create or replace view plan_in_force as
from change_plan qualify row_number() over (partition by store order by number desc) = 1;

-- name: change_state_on
-- The state of every change at the end of a day, from its events up to then.
create or replace macro change_state_on(day) as table
select change, state, "at", "by", note, result, due, seq
from change_event
where "at" < cast(day as timestamp) + interval 1 day
qualify row_number() over (partition by change order by seq desc) = 1;

-- name: change_told
-- Every event with the day and the plan in which it was said: an approval that a new plan repeats was
-- given before, with the last order of that station by a person.
create or replace view change_told as
with told as (
    select e.*, c.plan, max_by({'day': cast(e."at" as date), 'plan': c.plan}, e.seq)
            filter (e.state = 'approved' and e.result is null and e.carried is null)
            over (partition by c.store, c.station order by e.seq) as given
    from change_event e join change c using (change)
)
select * exclude (plan, given),
    if(carried is null, cast("at" as date), coalesce(given.day, cast("at" as date))) as said_on,
    if(carried is null, plan, coalesce(given.plan, carried)) as said_in
from told;

-- name: change_matched
-- Every change under the key that its station goes by now, where people or its hardware address say
-- that another one on the list is the same.
create or replace view change_matched as
select c.* replace (coalesce(p.to_station, c.station) as station)
from change c left join key_pair p on p.store = c.store and p.station = c.station;

-- name: change_story_on
-- The story of every change up to the end of a day, one row each: proposed, decided, given a night,
-- done, found, measured, closed. Whatever says how a change stands reads it here.
-- `clear_air_before` is what the gain is held against: the channel left by the same scans, else the
-- share of before. `counts`: figures of effect count it, since it was found as ordered, stands, and
-- was measured by enough readings.
-- `closed` is null while it is open. `overdue`: its night is over and nothing shows it done.
-- `replaced`: a later plan's change of the same station was ordered, so that nothing follows from
-- this one any more. `waits_since`: the night that is over, else the day on which somebody last said
-- anything of it.
create or replace macro change_story_on(day) as table
with heard as (
    select *, max(if(state = 'implemented', seq, null)) over (partition by change) as last_done
    from change_told where "at" < cast(day as timestamp) + interval 1 day
), told as (
    select e.* exclude (last_done),
        e.result is null and e.state in ('approved', 'refused', 'deferred') as decides,
        -- The last order, or the last finding of work done differently that was put right since.
        coalesce(max(if(state = 'approved' or (state = 'ineffective'
            and result = 'done differently' and seq < last_done), seq, null))
            over (partition by change), 0) as approved_at
    from heard e
), latest as (
    select t.change, max_by(t, t.seq) as now, max_by(t, t.seq) filter (decides) as decided,
        max_by(t, t.seq) filter (decides and state = 'approved') as agreed,
        max_by(t, t.seq) filter (state = 'scheduled') as booked,
        -- The first that says so, a person or an export, since it was last not done.
        min_by(t, t.seq) filter (state = 'implemented' and seq > approved_at) as done,
        max_by(result, t.seq) as result
    from told t group by t.change
), checked as (
    select k.change, max_by(k, k.seq) as found,
        -- Of the work on the last order alone.
        max_by(k, k.seq) filter (k.seq > t.approved_at
            and t.state in ('implemented', 'verified', 'ineffective')) as stood
    from change_check k join told t using (seq) group by k.change
), joined as (
    select c.*, l.now.state as state, l.now."at" as "at", l.now.said_on as said_on,
        l.decided, l.agreed, l.result, k.found,
        coalesce(l.agreed.channel, c.to_channel) as ordered_channel,
        case when l.booked.seq > l.decided.seq then l.booked.due end as due,
        case when l.now.state in ('implemented', 'verified', 'ineffective', 'backed out')
            then l.done end as done,
        case when l.now.state in ('implemented', 'verified', 'ineffective', 'backed out')
            then k.stood end as stood,
        case l.now.state when 'verified' then 'as ordered' when 'backed out' then 'undone'
            when 'ineffective' then if(l.result = 'done differently', l.result, 'as ordered')
            when 'lapsed' then 'not done' end as closed,
        coalesce(max(p.number) filter (l.now.state in ('approved', 'scheduled', 'implemented',
            'verified', 'ineffective', 'backed out')) over (partition by c.store, c.station)
            > p.number, false) as replaced
    from change_matched c
    join latest l using (change)
    left join change_plan p on p.plan = c.plan
    left join checked k using (change)
), waiting as (
    select j.* replace (if(j.replaced and j.state = 'implemented', 'as ordered', j.closed)
            as closed),
        case when j.replaced then null when j.state in ('proposed', 'deferred') then 'decision'
            when j.state = 'approved' then 'night' when j.state = 'scheduled' then 'work'
            when j.state = 'implemented'
            then if(j.stood.seq >= j.done.seq, 'scan', 'export') end as waits_for,
        j.state in ('approved', 'scheduled') and not j.replaced
            and coalesce(j.due < (select as_of from this_run), false) as overdue
    from joined j
)
select j.change, j.plan, j.store, j.station, j.position, j.parking, j.from_channel, j.to_channel,
    j.ordered_channel, j.state, j.proposed_on, j.proposed_by,
    case when j.decided.state = 'approved' and j.ordered_channel <> j.to_channel
        then 'approved with another channel' else j.decided.state end as decision,
    j.decided.said_on as decided_on, j.decided."by" as decided_by,
    j.decided.note as decided_note, j.decided.workbook as workbook,
    case when j.decided.state = 'refused' then j.decided.until end as refused_until,
    cast(j.due as date) as night, j.due, cast(j.done."at" as date) as done_on,
    j.done."by" as done_by, j.result, j.found.seen_on as found_on, j.found.channel_found,
    coalesce(round(j.stood.measured - j.stood.gained, 6), j.clear_air_before) as clear_air_before,
    coalesce(j.stood.promised,
        if(j.ordered_channel = j.to_channel, j.clear_air_after, j.agreed.promised)) as promised,
    j.stood.measured,
    j.stood.measured_low, j.stood.measured_high, j.stood.gained, j.stood.gained_low,
    j.stood.gained_high, j.stood.verdict, j.closed,
    case when j.closed is not null then cast(j."at" as date) end as closed_on,
    j.waits_for,
    case when j.waits_for is null then null when j.overdue then cast(j.due as date)
        when j.state = 'implemented' then cast(j.done."at" as date)
        else j.said_on end as waits_since,
    j.overdue, j.replaced,
    not j.parking and j.state in ('implemented', 'verified', 'ineffective')
        and j.stood.measured is not null and coalesce(j.closed <> 'done differently', true)
        and j.stood.readings >= coalesce((select value from setting
            where name = 'readings_minimum'), 1) as counts
from waiting j;

-- name: change_story
-- The story of every change up to the run's day.
create or replace view change_story as
from change_story_on((select day from register_day));

-- name: move_story
-- The moves of this run's plan, each with its change in the plan in force; no change: not put
-- forward. What is left of a plan counts its moves anew, so a move is known by its station and
-- whether it is a parking step.
create or replace view move_story as
select m.*, s.change, s.state, s.waits_for
from move m
left join plan_in_force f on f.store = m.store
left join change_story s on s.plan = f.plan and s.station = m.station and s.parking = m.parking;

-- name: wave_result
-- What became of each region's waves up to the run's day: stores whose changes were carried out
-- since they were put in the wave and that have no further move to make, and how many of them are
-- verified in every change. Parking steps on the way do not count.
create or replace view wave_result as
with taken as (
    select w.store, max_by(w.wave, w.taken_on) as wave, max(w.taken_on) as taken_on
    from wave_taken w, this_run r where w.taken_on <= r.as_of group by w.store
), outcome as (
    select t.store, t.wave, bool_and(s.state = 'verified') as verified
    from taken t
    join change c on c.store = t.store and not c.parking
    join change_state_on((select day from register_day)) s on s.change = c.change
    where s.state in ('implemented', 'verified', 'ineffective', 'backed out')
        and cast(s."at" as date) >= t.taken_on
    group by t.store, t.wave
)
select n.region, o.wave, count(*) as stores, count(*) filter (o.verified) as verified
from outcome o join store_now n using (store)
where o.store not in (select store from move)
group by n.region, o.wave;

-- name: store_seal
-- The seal that took in the last entry of each store; of a store without one, the first of all.
-- Programs before version 6 of the tables did not note the store of an entry: theirs count for every
-- store.
create or replace view store_seal as
with older as (
    select coalesce(max(seq), 0) as seq from register_entry
    where source = 'change_plan' and store is null
), own as (select store, max(seq) as seq from register_entry where store is not null group by store
), last as (
    select s.store, greatest(coalesce(o.seq, 1), older.seq) as seq
    from store_now s left join own o using (store) cross join older
)
select l.store, r.size, r.root, r.as_of
from last l asof join register_seal r on l.seq <= r.size;
