-- Clear air of each station on its channel of today: the chance that it finds the air free,
-- (1 - outside busy) x product over neighbours of (1 - their air share x the chance they are heard).
create or replace view clear_air_now as
with own as (
    select e.store, e.station,
        exp(fsum(ln(greatest(1e-9, 1 - coalesce(l.air_share, 0) * case abs(s.channel - n.channel)
            when 0 then e.hit_co when 1 then e.hit_adjacent when 2 then e.hit_alternate
            else 0 end)))) as free_of_own
    from earshot e
    join station_now s on s.store = e.store and s.station = e.station
    join station_now n on n.store = e.store and n.station = e.neighbour
    left join station_load l on l.store = e.store and l.station = e.neighbour
    group by e.store, e.station
)
select s.store, s.station, s.channel, v.busy_bound,
    round((1 - v.busy_bound) * coalesce(o.free_of_own, 1), 6) as clear_air
from station_now s
join ed_evidence v on v.store = s.store and v.station = s.station and v.channel = s.channel
left join own o on o.store = s.store and o.station = s.station;
