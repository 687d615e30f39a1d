-- name: register_day
-- The day up to which this run knows what became of changes: decisions are made after the export
-- they rest on, so a run on the newest export knows every event; one that looks back, only those
-- up to its own day.
create or replace view register_day as
select case when r.as_of < (select max(seen_on) from station_seen) then r.as_of
    else date '9999-12-30' end as day
from this_run r;

-- name: change_state_on
-- The state of every change at the end of a day, from its events up to then.
create or replace macro change_state_on(day) as table
select change, state, "at", "by", note, result, due, seq
from change_event
where "at" < cast(day as timestamp) + interval 1 day
qualify row_number() over (partition by change order by seq desc) = 1;

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
