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
